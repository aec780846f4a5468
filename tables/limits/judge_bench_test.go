package limits

import "testing"

// A map of the usual size under an envelope, and one expression: what judging costs a changed table.
func BenchmarkJudge(b *testing.B) {
	s := sheet{id: "ign", unit: "deg"}
	for i := range 32 {
		s.x, s.y = append(s.x, float64(i)), append(s.y, float64(i))
		for j := range 32 {
			s.v = append(s.v, float64(i+j))
		}
	}
	envelope := envelopeRule("max", []float64{0, 10.5, 20}, []float64{0, 7.5, 30}, []float64{30, 40, 50, 30, 40, 50, 30, 40, 50})
	in := judging(one(s), one(s))
	for name, r := range map[string]string{"range": `{"range":{"max":1}}`, "lump": `{"lump":{"max":1}}`, "expression": `{"expression":"table('ign').max() < 5.0"}`} {
		parsed := rule(r)
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				judged(b, in, parsed)
			}
		})
	}
	b.Run("envelope", func(b *testing.B) {
		for b.Loop() {
			judged(b, in, envelope)
		}
	})
}
