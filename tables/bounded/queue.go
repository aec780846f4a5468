package bounded

import "cmp"

// queue gives the part of the greatest upper bound first, then in order of cells, then the lower one.
type queue []part

func (q *part) before(r *part) bool {
	if q.upper != r.upper {
		return q.upper > r.upper
	}
	if q.slot != r.slot {
		return q.slot < r.slot
	}
	for i := MaxInputs - 1; i >= 0; i-- {
		a, b := q.start[i]<<(refining-q.depth[i]), r.start[i]<<(refining-r.depth[i])
		if c := cmp.Compare(a, b); c != 0 {
			return c < 0
		}
	}
	return false
}

func (h *queue) push(q part) {
	*h = append(*h, q)
	s := *h
	for i := len(s) - 1; i > 0; {
		up := (i - 1) / 2
		if !s[i].before(&s[up]) {
			return
		}
		s[i], s[up] = s[up], s[i]
		i = up
	}
}

func (h *queue) pop() part {
	s := *h
	top, last := s[0], len(s)-1
	s[0] = s[last]
	*h = s[:last]
	h.down(0)
	return top
}

// order makes a queue of parts in any order.
func (h *queue) order() {
	for i := len(*h)/2 - 1; i >= 0; i-- {
		h.down(i)
	}
}

func (h *queue) down(i int) {
	s := *h
	for {
		least := i
		for k := 2*i + 1; k <= 2*i+2 && k < len(s); k++ {
			if s[k].before(&s[least]) {
				least = k
			}
		}
		if least == i {
			return
		}
		s[i], s[least] = s[least], s[i]
		i = least
	}
}
