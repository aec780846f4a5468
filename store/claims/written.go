package claims

import (
	"slices"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/definition"
)

// readBack: of what was collected, newest first, it is the first that it matches; of the newest it is
// told how it differs.
func (m *making) readBack(a *recordv1.AddReadback) error {
	if a.Matches, a.ReportSha256 = false, ""; a.GetImage() == nil {
		return nil // the rules ask for the reason why
	}
	j, err := m.job(a.GetJob())
	if err != nil {
		return err
	}
	if m.Candidate, err = m.image("read_back.image", a.GetImage()); err != nil {
		return err
	}
	tried := map[uint32]bool{}
	for _, c := range slices.Backward(j.GetCollections()) {
		n, im := c.GetSubmission(), record.AsFound(j).GetImage()
		if tried[n] {
			continue
		}
		tried[n] = true
		if n != 0 {
			im = j.GetSubmissions()[n-1].GetImage()
		}
		written, err := m.image("what was written", im)
		if err != nil {
			return err
		}
		same, why := m.same(written, m.Candidate)
		if same || m.Base == nil {
			a.Submission, a.Matches, m.Base, m.Why = n, same, written, why
		}
		if same {
			return nil
		}
	}
	r, err := m.differ(j, m.Base, m.Candidate)
	if err == nil {
		m.Report, a.ReportSha256 = r.report, string(r.sha)
	}
	return err
}

// note: its table is one of the job's definition, its files are there, of that size.
func (m *making) note(a *recordv1.AddNote) error {
	if a.GetTable() != "" {
		_, def, _, err := newestOf(m.src, a.GetJob())
		if err != nil {
			return err
		}
		if m.Layout, err = m.c.Layout(m.src, def); err != nil {
			return err
		}
		if !slices.ContainsFunc(m.Layout.Tables, func(t *definition.Table) bool { return t.ID == a.GetTable() }) {
			return refuse(record.ReasonNotFound, "note.table", m.Layout.TableIDs(), "note.table: definition %s has no table %.60q; allowed: %s", m.Layout.Name, a.GetTable(), m.Layout.TableIDs())
		}
	}
	for _, f := range a.GetFiles() {
		b, err := m.bytes("note.files.sha256", f.GetSha256())
		if err != nil {
			return err
		}
		f.Size = uint32(len(b))
	}
	return nil
}
