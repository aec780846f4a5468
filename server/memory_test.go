package server

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protowire"

	"witnessmark/store/claims"
)

// rawCodec sends bytes as they are.
type rawCodec struct{}

func (rawCodec) Name() string                       { return "proto" }
func (rawCodec) Marshal(v any) ([]byte, error)      { return *v.(*[]byte), nil }
func (rawCodec) Unmarshal(data []byte, v any) error { *v.(*[]byte) = data; return nil }

// TestMessageThatGrows: a message of a megabyte that would be hundreds of megabytes once it is decoded is refused.
func TestMessageThatGrows(t *testing.T) {
	w := newWorkshop(t)
	action := protowire.AppendBytes(protowire.AppendTag(nil, 1, protowire.BytesType), bytes.Repeat([]byte{0x12, 0}, maxMessage/2-100)) // openings
	for method, message := range map[string][]byte{
		"/witnessmark.service.v1.Record/Admit":        action,
		"/witnessmark.service.v1.Comparisons/Compare": bytes.Repeat([]byte{0x32, 0}, maxMessage/2-100), // tables meant
	} {
		s, err := w.as("lead").NewStream(within(t), &grpc.StreamDesc{ClientStreams: true, ServerStreams: true}, method, grpc.ForceCodec(rawCodec{}))
		if err != nil {
			t.Fatal(err)
		}
		_ = s.SendMsg(&message)
		var answer []byte
		if err := s.RecvMsg(&answer); status.Code(err) != codes.Internal || !strings.Contains(err.Error(), "too large once it is decoded") {
			t.Errorf("%s: %v", method, err)
		}
	}
}

// TestReportsThatGrow names what is no report as a read's, and brings it: as large as a blob may be, and just as
// large as is still looked at. The process that takes it needs little more memory than the bytes.
func TestReportsThatGrow(t *testing.T) {
	if underRace {
		t.Skip("what the process takes is measured without the race detector, which takes more")
	}
	if _, err := os.Stat("/proc/self/status"); err != nil {
		t.Skip("no /proc here")
	}
	b := newBench(t)
	open, o := b.openJob("AB 12 CD")
	b.do("technician", open, o)
	read, o := b.read(1, demoFile(t, "asfound.bin"))
	b.filled(read, o...)
	check := read.GetRead().GetCheck()
	right, lead, server := len(b.files[check.GetReportSha256()]), b.keys["technician"], publicOf(b.srv.home.key)
	b.stop()
	cmd, addr, logs := serveApart(t, b.place)
	go io.Copy(io.Discard, logs)
	conn := dial(t, addr, lead, server)
	for _, size := range []int{maxBlob, 2*right + 64<<10} {
		before := memoryPeak(t, cmd.Process.Pid)
		bomb := bytes.Repeat([]byte{0x72, 0}, size/2) // tables without anything in them
		check.ReportSha256 = b.have(bomb)
		_, _, err := bring(t, conn, b.files, b.seal("technician", read), o...)
		wantFault(t, err, codes.FailedPrecondition, claims.ReasonReport)
		after := memoryPeak(t, cmd.Process.Pid)
		t.Logf("%d bytes of empty tables: the process' peak went from %d to %d MiB", size, before>>20, after>>20)
		if after > before+3*maxBlob {
			t.Errorf("%d bytes took %d MiB", size, (after-before)>>20)
		}
	}
}

// memoryPeak is the most memory that a process has had, in bytes.
func memoryPeak(t *testing.T, pid int) int {
	t.Helper()
	for line := range strings.Lines(string(fileBytes(t, filepath.Join("/proc", strconv.Itoa(pid), "status")))) {
		if rest, ok := strings.CutPrefix(line, "VmHWM:"); ok {
			var n int
			if _, err := fmt.Sscan(rest, &n); err != nil {
				t.Fatal(err)
			}
			return n << 10
		}
	}
	t.Fatal(errors.New("no VmHWM"))
	return 0
}
