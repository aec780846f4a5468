package server

import (
	"bytes"
	"fmt"
	"testing"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/claims"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

const smallLimits = `name: small-road
title: Small
applies_to: [small]
rules:
  - {id: idle, severity: caution, select: {tables: [idle.speed]}, range: {unit: 1/min, max: 900}, reason: It rattles., source: test}
`

// newSmallBench is a bench whose images are so small that a whole ledger is checked in a moment.
func newSmallBench(t testing.TB) *bench { return newSmallBenchIn(t, newFolderPlace(t)) }

func newSmallBenchIn(t testing.TB, p Place) *bench {
	b := &bench{workshop: staffedIn(t, p), own: newOwn(), claims: claims.New()}
	b.act("lead", &recordv1.Action{Body: &recordv1.Action_Definition{Definition: &recordv1.AddDefinition{Revision: &recordv1.Revision{Sha256: b.have([]byte(small))}}}})
	b.act("lead", &recordv1.Action{Body: &recordv1.Action_Limits{Limits: &recordv1.AddLimits{Revision: &recordv1.Revision{Sha256: b.have([]byte(smallLimits))}}}})
	return b
}

// smallRead and smallMap are the read as found of job n, and what is submitted to it.
func smallRead(n uint32) []byte { return bytes.Repeat([]byte{byte(n)}, 0x100) }

func smallMap(n uint32) []byte {
	out := smallRead(n)
	out[0x11] ^= 1
	return out
}

// smallJob opens job n and adds its read.
func (b *bench) smallJob(n uint32) (opened, read uint64) {
	b.Helper()
	seal := func(field, text string) *recordv1.Opening {
		return signoff.NewOpening(field, text, bytes.NewReader([]byte(hashOf([]byte(field+text)))))
	}
	plate, frame, name := seal("plate", fmt.Sprint("HC ", n)), seal("frame", fmt.Sprint("FRAME", n)), seal("file_name", fmt.Sprintf("read%d.bin", n))
	opened = b.act("technician", &recordv1.Action{Body: &recordv1.Action_Job{Job: &recordv1.OpenJob{
		Definition: b.revision(record.Definitions, "small"),
		Details:    &recordv1.JobDetails{Plate: sealed(plate), Frame: sealed(frame), Limits: b.revision(record.Limits, "small-road")},
	}}}, plate, frame).GetIndex()
	b.have(smallRead(n))
	read = b.act("technician", &recordv1.Action{Body: &recordv1.Action_Read{Read: &recordv1.AddRead{
		Job: n, Image: wholeImage(smallRead(n)), FileName: sealed(name)}}}, name).GetIndex()
	return opened, read
}

// smallReleased is smallJob, and what is submitted to it is signed.
func (b *bench) smallReleased(n uint32) {
	b.Helper()
	b.smallJob(n)
	sub, o := b.submit(n, smallMap(n))
	b.act("calibrator", sub, o...)
	b.act("lead", b.sign(n, 1))
}

// opening is the action that opens a corridor in a small job, from a submission or the read as found.
func (b *bench) opening(job, from uint32, maps int, authors ...string) *recordv1.Action {
	b.Helper()
	var j *recordv1.Job
	b.look(func(s *record.State) { j, _ = s.Job(job) })
	start := record.AsFound(j).GetImage()
	if from > 0 {
		start = record.SubmissionOf(j, from).GetImage()
	}
	return b.corridor(step{from: int(from), authors: authors, up: 3, maps: maps, most: "caution"}, j, start.GetSha256(), b.revision(record.Limits, "small-road"))
}

// lived is a stopped server's folder that has every kind of document: a release that was collected, one that was
// recalled, a corridor that is open, and a job with another that was erased whole.
func lived(t testing.TB) *bench {
	b := newSmallBench(t)
	for n := uint32(1); n <= 3; n++ {
		b.smallReleased(n)
		b.act("technician", b.collect(n, 1, hashOf(smallMap(n))))
		note, o := b.note(n, "seen on the hill", fmt.Appendf(nil, "film %d", n))
		b.act("technician", note, o...)
	}
	b.act("lead", &recordv1.Action{Body: &recordv1.Action_Return{Return: &recordv1.Return{Job: 2, Submission: 1, ImageSha256: hashOf(smallMap(2)), Reason: "too lean"}}})
	b.act("lead", b.opening(1, 0, 9, "calibrator"))
	b.act("lead", b.opening(3, 1, 9, "calibrator"))
	for _, c := range []struct {
		job uint32
		up  int
	}{{1, 1}, {1, 9}, {3, 2}} {
		sub, o := b.submit(c.job, houseMap(c.job, c.up))
		b.act("calibrator", sub, o...)
	}
	b.act("technician", b.collect(3, 2, hashOf(houseMap(3, 2))))
	b.act("technician", closingCorridor(3, 1, 2))
	b.look(func(s *record.State) {
		one, _ := s.Job(1)
		three, _ := s.Job(3)
		if a, b, c := one.GetSubmissions()[1], one.GetSubmissions()[2], three.GetSubmissions()[1]; a.GetByCorridor() != 1 || b.GetNotCovered() != "cells" || c.GetByCorridor() != 1 {
			t.Errorf("by corridors: %v, %v, %v", a, b, c)
		}
	})
	b.closeAndErase(3, true)
	b.must("lead", retireAction("calibrator"))
	b.well()
	b.stop()
	return b
}
