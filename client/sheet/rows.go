package sheet

// VisitRow is a visited cell in words, for a page.
type VisitRow struct {
	Seconds, Table, Place, Base, Candidate, Delta string
}

// Rows are the cells that were visited longest, as many as the text sheet shows; more counts the rest.
func (v *Visited) Rows() (rows []VisitRow, more int) {
	shown := v.Cells[:min(len(v.Cells), shownVisits)]
	for _, c := range shown {
		r := VisitRow{Seconds: secs(c.Seconds), Table: c.Table.ID, Place: c.place(), Base: c.value(c.Change.Base()), Candidate: c.value(c.Change.Candidate())}
		if c.Change.HasDelta {
			r.Delta = signed(numbers(c.Table), c.Change.Delta) + unit(c.Table)
		}
		rows = append(rows, r)
	}
	return rows, len(v.Cells) - len(shown)
}
