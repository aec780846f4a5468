package desk

import (
	"cmp"
	"fmt"
	"io"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// corridorSaid is what would be typed for a corridor that was drawn up.
func corridorSaid(asked *recordv1.OpenCorridor) url.Values {
	v := url.Values{"author": asked.GetAuthors(), "most": {asked.GetMost()}, "maps": {strconv.Itoa(int(asked.GetMaps()))}, "because": {asked.GetReason()}}
	if asked.GetFrom() != 0 {
		v.Set("from", ofJob(asked.GetJob(), asked.GetFrom()))
	}
	for _, t := range asked.GetTables() {
		v.Set("up:"+t.GetTable(), t.GetUp())
		v.Set("down:"+t.GetTable(), t.GetDown())
	}
	return v
}

// manySaid is what was typed into a form of more fields than other forms may have: two for each table.
func manySaid(w http.ResponseWriter, r *http.Request) (url.Values, error) {
	r.Body = http.MaxBytesReader(w, r.Body, 16<<20)
	parts, err := r.MultipartReader()
	if err != nil {
		return nil, err
	}
	said := url.Values{}
	for {
		part, err := parts.NextPart()
		if err == io.EOF {
			return said, nil
		}
		if err != nil {
			return nil, err
		}
		text, err := io.ReadAll(part)
		if err != nil {
			return nil, err
		}
		said.Add(part.FormName(), strings.TrimSpace(strings.ReplaceAll(string(text), "\r\n", "\n")))
	}
}

// corridorPlan reads the form.
func corridorPlan(job uint32, said url.Values) (p client.CorridorPlan, err error) {
	count, err := strconv.ParseUint(said.Get("maps"), 10, 32)
	if err != nil {
		return p, &client.Error{Kind: client.Usage, Text: fmt.Sprintf("how many maps: %.40q is no number; allowed: 1 to 1000", said.Get("maps"))}
	}
	p = client.CorridorPlan{Job: job, From: said.Get("from"), Authors: said["author"], Most: said.Get("most"), Maps: uint32(count), Reason: said.Get("because")}
	ids := map[string]bool{}
	for key := range said {
		if side, id, is := strings.Cut(key, ":"); is && (side == "up" || side == "down") {
			ids[id] = true
		}
	}
	for _, id := range slices.Sorted(maps.Keys(ids)) {
		up, down := said.Get("up:"+id), said.Get("down:"+id)
		if up+down == "" {
			continue
		}
		for _, text := range []string{up, down} {
			if v, err := strconv.ParseFloat(cmp.Or(text, "0"), 64); err != nil || v < 0 {
				return p, &client.Error{Kind: client.Usage, Text: fmt.Sprintf("table %.60s: %.40q is no distance; allowed: a number of at least 0, such as 2.5", id, text)}
			}
		}
		p.Tables = append(p.Tables, id+"="+cmp.Or(up, "0")+":"+cmp.Or(down, "0"))
	}
	switch {
	case len(p.Authors) == 0:
		return p, &client.Error{Kind: client.Usage, Text: "tick whose maps it covers"}
	case len(p.Tables) == 0:
		return p, &client.Error{Kind: client.Usage, Text: "say of at least one table how far up or down it may go"}
	}
	return p, nil
}
