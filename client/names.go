package client

import (
	"strconv"
	"strings"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

func itoa(n uint32) string { return strconv.FormatUint(uint64(n), 10) }

// name is what people call a submission: JOB.N.
func name(s *recordv1.Submission) string { return itoa(s.Job) + "." + itoa(s.Number) }

// Name is what people call a submission: the second one of job 7 is 7.2.
func Name(s *recordv1.Submission) string { return name(s) }

// ParseJob reads a job's number.
func ParseJob(s string) (uint32, error) {
	n, err := strconv.ParseUint(s, 10, 32)
	if err != nil || n == 0 {
		return 0, usage("", "%q is not a job's number (1, 2, …)", s)
	}
	return uint32(n), nil
}

// ParseSubmission reads JOB.N.
func ParseSubmission(s string) (job, n uint32, err error) {
	a, b, ok := strings.Cut(s, ".")
	j, err1 := strconv.ParseUint(a, 10, 32)
	k, err2 := strconv.ParseUint(b, 10, 32)
	if !ok || err1 != nil || err2 != nil || j == 0 || k == 0 {
		return 0, 0, usage("", "%q is not a submission (JOB.N, such as 7.2)", s)
	}
	return uint32(j), uint32(k), nil
}
