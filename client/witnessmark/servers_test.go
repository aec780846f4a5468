package main

import (
	"context"
	"fmt"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"witnessmark/client"
	"witnessmark/client/waytest"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/server"
	"witnessmark/store/postgres/pgtest"
	"witnessmark/store/record"
	"witnessmark/store/storetest"
)

// Three people write at two servers of one database, of which now one and now the other is cut off in the middle of
// whatever is said. Whatever a command answered is there once, and what it could not answer is there once after the next.
func TestServersComeAndGo(t *testing.T) {
	database := pgtest.URL(t)
	w := newWorkshopIn(t, database)
	addrs := []string{w.addr, w.serve(server.Place{Dir: filepath.Join(w.dir, "data"), Database: database}).Addr()}
	var ways [2]*waytest.Way
	for i := range ways {
		ways[i] = w.way("127.0.0.1:0", addrs[i])
	}
	list := []string{ways[0].Addr + "," + ways[1].Addr, ways[1].Addr + "," + ways[0].Addr}
	demo := func(name string) string { return filepath.Join("..", "..", "testdata", "demo", name) }
	w.as("lead", 0, "definition", "add", demo("dx1-1.8t.yaml"))
	w.as("lead", 0, "limits", "add", demo("dx1-road-98.yaml"))
	w.as("technician", 0, "job", "open", "--car", "HC 81", "--definition", "dx1-1.8t", "--limits", "dx1-road-98", "--fuel", "98 RON")
	ctx, stop := context.WithTimeout(context.Background(), storetest.Long(t, 2*time.Second))
	defer stop()
	var writers sync.WaitGroup
	written := make([]writing, 3)
	for i, person := range []string{"lead", "technician", "calibrator"} {
		w.as(person, 0, "login", list[i%2], "--key", filepath.Join(w.dir, person+".key"), "--fingerprint", w.fingerprint)
		writers.Go(func() { written[i] = notesOf(ctx, filepath.Join(w.dir, person), person) })
	}
	random, cuts := storetest.Rand(t), 0
	for ; ctx.Err() == nil; cuts++ {
		at := &ways[cuts%2]
		time.Sleep(time.Duration(random.IntN(int(300 * time.Millisecond))))
		(*at).Cut()
		time.Sleep(time.Duration(random.IntN(int(50 * time.Millisecond))))
		*at = w.way((*at).Addr, addrs[cuts%2])
	}
	writers.Wait()
	job := jobOne(t, filepath.Join(w.dir, "lead"))
	there := map[string]int{}
	for _, n := range job.GetNotes() {
		there[n.GetText().GetText()]++
	}
	answered, away := 0, 0
	for _, one := range written {
		if answered, away = answered+len(one.texts), away+one.away; one.err != nil {
			t.Error(one.err)
		}
		for _, text := range one.texts {
			if there[text] != 1 {
				t.Errorf("%s is there %d times", text, there[text])
			}
		}
	}
	if len(job.GetNotes()) != answered {
		t.Errorf("%d notes, and %d were written", len(job.GetNotes()), answered)
	}
	t.Logf("%d notes, %d cuts; %d times both were away", answered, cuts, away)
	w.as("technician", 0, "ledger", "verify")
}

func (w *workshop) way(addr, to string) *waytest.Way {
	w.Helper()
	way, err := waytest.Open(addr, to)
	if err != nil {
		w.Fatal(err)
	}
	w.Cleanup(way.Cut)
	return way
}

// jobOne is job 1, as it is now.
func jobOne(t *testing.T, home string) *recordv1.Job {
	t.Helper()
	c, err := client.Open(&client.Home{Dir: home}, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	if err := c.Sync(context.Background()); err != nil {
		t.Fatal(err)
	}
	job, err := c.Job(1)
	if err != nil {
		t.Fatal(err)
	}
	return job
}

// writing is what one person wrote, and how often no server answered.
type writing struct {
	texts []string
	away  int
	err   error
}

// notesOf writes notes until the context ends. One that got no answer is settled before the next.
func notesOf(ctx context.Context, home, person string) (done writing) {
	c, err := client.Open(&client.Home{Dir: home}, nil)
	if err != nil {
		return writing{err: err}
	}
	defer c.Close()
	for ctx.Err() == nil {
		text := fmt.Sprintf("%s, number %d", person, len(done.texts))
		_, err := c.AddNote(context.Background(), client.NewNote{About: record.Name{Job: 1}, Text: text})
		for client.KindOf(err) == client.Away {
			done.away++
			if err = c.Resume(context.Background()); err == nil && !noted(c, text) {
				_, err = c.AddNote(context.Background(), client.NewNote{About: record.Name{Job: 1}, Text: text})
			}
		}
		if err != nil {
			done.err = fmt.Errorf("%s: %w", person, err)
			return done
		}
		done.texts = append(done.texts, text)
	}
	return done
}

// noted says whether a note is in somebody's copy.
func noted(c *client.Client, text string) bool {
	job, err := c.Job(1)
	if err != nil {
		return false
	}
	for _, n := range job.GetNotes() {
		if n.GetText().GetText() == text {
			return true
		}
	}
	return false
}
