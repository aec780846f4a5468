package server

import (
	"crypto/rand"
	"fmt"
	"math"
	mrand "math/rand/v2"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/store/signoff"
)

const (
	submitters  = 16
	submissions = 12 // of each; the first is not counted
	megabyte    = 1 << 20
	slowSync    = 10 * time.Millisecond
	// What a commit of bbolt syncs, its pages and then the page that leads to them; what a checkpoint does, its file and the
	// folder.
	syncsOfCommit, syncsOfCheckpoint = 2, 2
)

// slowDisk takes its time over each sync, and counts them.
type slowDisk struct {
	store.Engine
	syncs atomic.Int64
}

func (d *slowDisk) sync(n int) {
	d.syncs.Add(int64(n))
	time.Sleep(time.Duration(n) * slowSync)
}

func (d *slowDisk) Update(fn func(store.WriteTx) error) error {
	err := d.Engine.Update(fn)
	if err == nil {
		d.sync(syncsOfCommit)
	}
	return err
}

const megabyteDefinition = `
name: megabyte
title: A megabyte
byte_order: big
image: {start: 0, size: 0x100000}
axes:
  - {id: rpm, quantity: engine_speed, unit: 1/min, stored: {address: 0, type: u8, count: 16}, conversion: {factor: 50}}
tables:
  - {id: advance, quantity: ignition_advance, unit: deg, x: {axis: rpm}, stored: {address: 0x1000, type: u8}}
`

const wideLimits = `
name: wide
title: As far as it goes
applies_to: [megabyte]
fuel: ["98 RON"]
rules:
  - id: advance-range
    severity: danger
    select: {quantity: ignition_advance}
    range: {unit: deg, min: 0, max: 254}
    reason: It is all that there is.
    source: made for this test
`

// megabytes is a workshop of submitters, on a slow disk, each with a job of a car with a megabyte of image and with
// submissions that are signed and wait to be sent.
type megabytes struct {
	*bench
	disk *slowDisk
	sent [submitters][]sending
}

type sending struct {
	envelope []byte
	opening  *recordv1.Opening
}

func newMegabytes(b *testing.B) *megabytes {
	m := &megabytes{bench: newBench(b), disk: &slowDisk{}}
	m.act("lead", &recordv1.Action{Body: &recordv1.Action_Definition{Definition: &recordv1.AddDefinition{
		Revision: &recordv1.Revision{Name: "megabyte", Sha256: m.have([]byte(megabyteDefinition))}}}})
	m.act("lead", &recordv1.Action{Body: &recordv1.Action_Limits{Limits: &recordv1.AddLimits{
		Revision: &recordv1.Revision{Name: "wide", Sha256: m.have([]byte(wideLimits))}}}})
	r := mrand.New(mrand.NewPCG(14, 2))
	for i := range submitters {
		who := fmt.Sprint("submitter ", i)
		m.enrol(who, "technician", "calibrator")
		data := make([]byte, megabyte)
		for at := range data {
			if data[at] = byte(r.Uint32()); at < 16 {
				data[at] = byte(10 + 5*at)
			}
		}
		plate := signoff.NewOpening("plate", fmt.Sprintf("HC %02d", i), rand.Reader)
		m.act(who, &recordv1.Action{Body: &recordv1.Action_Job{Job: &recordv1.OpenJob{
			Definition: m.revision("definition", "megabyte"), Details: &recordv1.JobDetails{
				Plate: sealed(plate), Fuel: "98 RON", Limits: m.revision("limits", "wide")}}}}, plate)
		job := uint32(i + 1)
		m.have(data)
		m.act(who, &recordv1.Action{Body: &recordv1.Action_Read{Read: &recordv1.AddRead{Job: job, Image: wholeImage(data)}}})
		for range submissions {
			edited := append([]byte(nil), data...)
			for range 16 {
				edited[0x1000+r.IntN(16)] += byte(1 + r.IntN(9))
			}
			a, o := m.submit(job, edited)
			m.sent[i] = append(m.sent[i], sending{m.seal(who, m.filled(a, o...)), o[0]})
		}
	}
	m.tune = func(o *Options) { o.wrap = func(e store.Engine) store.Engine { m.disk.Engine = e; return m.disk } }
	m.restart()
	kept := m.srv.core.keep
	m.srv.core.keep = func(note []byte) error { defer m.disk.sync(syncsOfCheckpoint); return kept(note) }
	m.disk.syncs.Store(0)
	return m
}

// BenchmarkSubmitters has sixteen people submit a megabyte each, again and again, to a disk that takes 10 ms to
// sync: how many syncs there are for an answer, and how many answers in times of what one action a commit gives.
func BenchmarkSubmitters(b *testing.B) {
	rate, least := map[int]float64{}, math.MaxFloat64
	for b.Loop() {
		for _, most := range []int{1, maxBatch} {
			m := newMegabytes(b)
			m.srv.core.most = most // before anybody sends anything
			m.sendAll(0, 1)
			before := m.disk.syncs.Load()
			took := m.sendAll(1, submissions)
			rate[most] = max(rate[most], submitters*(submissions-1)/took.Seconds())
			if syncs := float64(m.disk.syncs.Load()-before) / (submitters * (submissions - 1)); most == maxBatch {
				least = min(least, syncs)
			}
		}
	}
	b.ReportMetric(least, "syncs/answer")
	b.ReportMetric(rate[maxBatch], "answers/s")
	b.ReportMetric(rate[maxBatch]/rate[1], "x-one-a-commit")
}

// sendAll has each send some of what they have, one after the other, and all at once.
func (m *megabytes) sendAll(from, to int) time.Duration {
	begun := time.Now()
	var all sync.WaitGroup
	for i := range submitters {
		all.Go(func() {
			for _, s := range m.sent[i][from:to] {
				if _, _, err := bring(m.TB, m.as(fmt.Sprint("submitter ", i)), m.files, s.envelope, s.opening); err != nil {
					m.Errorf("submitter %d: %v", i, err)
				}
			}
		})
	}
	all.Wait()
	return time.Since(begun)
}
