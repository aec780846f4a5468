package client

import (
	"slices"
	"strconv"
	"strings"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

// UsualPage is how many jobs, hits or waits a list has where nobody says.
const UsualPage = 20

// JobFilter is which jobs are looked for; what is left out asks for nothing.
type JobFilter struct {
	record.Query // Words and Cars are made of Text and Car
	// Text is words, each of which must begin a word of plate, parts, notes, reasons or table names; of
	// a plate any part will do.
	Text string
	// Car is a plate, a frame number, or a car's number where it is neither.
	Car string
	// Skip and Most are the page: Most of 0 is UsualPage.
	Skip, Most int
}

// JobPage is a page of the jobs that were found.
type JobPage struct {
	// Jobs have of their texts the plate alone, and not what is in the car.
	Jobs []*recordv1.Job
	// Found is how many there are on all pages.
	Found int
}

// FindJobs looks for jobs in the copy. What it costs depends on the page, not on how many jobs there are.
func (c *Client) FindJobs(f JobFilter) (*JobPage, error) {
	return look(c, func(s *record.State) (*JobPage, error) {
		q, err := f.query(s)
		if err != nil {
			return nil, err
		}
		numbers := s.Find(q)
		page := &JobPage{Found: len(numbers)}
		for _, n := range cut(numbers, f.Skip, f.Most) {
			if j, ok := s.Listed(n); ok {
				page.Jobs = append(page.Jobs, j)
			}
		}
		return page, nil
	})
}

// cut is one page of a list.
func cut[T any](list []T, skip, most int) []T {
	if most <= 0 {
		most = UsualPage
	}
	list = list[min(max(skip, 0), len(list)):]
	return list[:min(most, len(list))]
}

// query refuses names that there are not: a list that is empty for a typing error misleads.
func (f JobFilter) query(s *record.State) (record.Query, error) {
	q := f.Query
	q.Words = record.Words(f.Text)
	if len(q.Words) == 0 && f.Text != "" {
		return q, usage("", "%q has neither a letter nor a digit to look for", f.Text)
	}
	if err := q.Check(); err != nil {
		return q, refusal(err)
	}
	if f.Definition != "" {
		if _, err := revision(s, record.Definitions, f.Definition); err != nil {
			return q, err
		}
	}
	if f.Person != "" && !slices.ContainsFunc(s.People(), func(p *recordv1.Person) bool {
		return signoff.FoldName(p.GetName()) == signoff.FoldName(f.Person)
	}) {
		return q, usage("witnessmark person list", "nobody called %q was ever enrolled", f.Person)
	}
	if f.Car != "" {
		if q.Cars = carsIn(s, f.Car); len(q.Cars) == 0 {
			return q, noCar(f.Car)
		}
	}
	return q, nil
}

// carsIn are those with a plate or a frame number, that of the newest job first; else the one with that number.
func carsIn(s *record.State, text string) []uint32 {
	cars := s.CarsByPlate(text)
	for _, car := range s.CarsByFrame(text) {
		if !slices.Contains(cars, car) {
			cars = append(cars, car)
		}
	}
	if n, err := strconv.ParseUint(text, 10, 32); err == nil && len(cars) == 0 && n > 0 && uint32(n) <= s.Head().GetCars() {
		cars = []uint32{uint32(n)}
	}
	return cars
}

func noCar(text string) error {
	return usage("witnessmark job list", "no car with the plate or frame number %q has been in", text)
}

// Hit is one text in which something was found.
type Hit struct {
	record.Said
	Job *recordv1.Job // as in a JobPage
}

// Search looks for the texts of jobs that have all words of a text, the newest job first: those texts
// that have one of them. More is how many jobs are left out once about most hits were listed.
func (c *Client) Search(text string, most int) (hits []Hit, more int, err error) {
	if most <= 0 {
		most = UsualPage
	}
	words := record.Words(text)
	if len(words) == 0 {
		return nil, 0, usage("", "%q has neither a letter nor a digit to look for", text)
	}
	err = c.View(func(s *record.State) error {
		numbers := s.Find(record.Query{Words: words})
		for i, n := range numbers {
			if len(hits) >= most {
				more = len(numbers) - i
				break
			}
			j, _ := s.Listed(n)
			for _, said := range s.Texts(n) {
				if slices.ContainsFunc(words, said.Has) {
					hits = append(hits, Hit{said, j})
				}
			}
		}
		return nil
	})
	return hits, more, err
}

// Next is what comes next in a job, in words: what it waits for; nothing where that is an alarm's end.
func Next(j *recordv1.Job) string {
	if j.GetState() != "open" {
		return ""
	}
	var words []string
	for _, w := range record.WaitsOf(j) {
		words = append(words, w.String())
	}
	if len(words) == 0 && len(j.GetAlarms()) == 0 {
		return "close"
	}
	return strings.Join(words, ", ")
}
