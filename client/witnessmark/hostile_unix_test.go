//go:build unix

package main

import (
	"bytes"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"
	"time"
)

// hostile makes things that are no files to be read, and answers with their paths by what they are called.
func hostile(t *testing.T) map[string]string {
	t.Helper()
	dir := t.TempDir()
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	at := func(name string) string { return filepath.Join(dir, name) }
	must(syscall.Mkfifo(at("pipe"), 0o600))
	must(os.Symlink(at("pipe"), at("link-to-pipe")))
	must(os.Symlink(at("loop"), at("loop")))
	must(os.Mkdir(at("folder"), 0o700))
	// A socket's name has room for some hundred bytes only.
	short, err := os.MkdirTemp("", "s")
	must(err)
	t.Cleanup(func() { os.RemoveAll(short) })
	l, err := net.Listen("unix", filepath.Join(short, "s"))
	must(err)
	t.Cleanup(func() { l.Close() })
	must(os.WriteFile(at("sparse"), nil, 0o600))
	must(os.Truncate(at("sparse"), 5<<30))
	return map[string]string{"endless": "/dev/zero", "pipe": at("pipe"), "link to a pipe": at("link-to-pipe"), "loop": at("loop"), "folder": at("folder"),
		"socket": l.Addr().String(), "sparse": at("sparse")}
}

// maxRSS is the most memory that a process had, in bytes.
func maxRSS(c *exec.Cmd) int64 {
	rss := int64(c.ProcessState.SysUsage().(*syscall.Rusage).Maxrss)
	if runtime.GOOS == "darwin" {
		return rss
	}
	return rss << 10
}

// Every command that reads a file, in every place where it takes one, refuses what is no file with one line and
// status 2: at once, and without reading any of it. The patience and the memory are far beyond what that takes.
func TestHostileFiles(t *testing.T) {
	if underRace {
		t.Skip("what a command takes is measured without the race detector, which takes more")
	}
	demo, err := filepath.Abs(filepath.Join("..", "..", "testdata", "demo"))
	if err != nil {
		t.Fatal(err)
	}
	t.Setenv("WITNESSMARK_HOME", t.TempDir())
	good := strings.NewReplacer("IMAGE", filepath.Join(demo, "asfound.bin"), "DEFINITION", filepath.Join(demo, "dx1-1.8t.yaml"),
		"LIMITS", filepath.Join(demo, "dx1-road-98.yaml"), "RUN", filepath.Join(demo, "before.csv"))
	var worst int64
	ran := 0
	for what, bad := range hostile(t) {
		for _, line := range []string{
			"check FILE --definition DEFINITION --limits LIMITS", "check IMAGE --definition FILE --limits LIMITS", "check IMAGE --definition DEFINITION --limits FILE",
			"compare FILE IMAGE --definition DEFINITION", "compare IMAGE FILE --definition DEFINITION", "compare IMAGE IMAGE --definition FILE",
			"compare IMAGE IMAGE --definition DEFINITION --definition-candidate FILE", "compare IMAGE IMAGE --definition DEFINITION --limits FILE",
			"compare IMAGE IMAGE --definition DEFINITION --limits LIMITS --run FILE", "compare IMAGE IMAGE --definition DEFINITION --limits LIMITS --run RUN --channels FILE",
			"compare IMAGE IMAGE --definition DEFINITION --as-found FILE",
			"inspect FILE --definition DEFINITION", "inspect IMAGE --definition FILE", "signal show FILE --definition DEFINITION", "signal show IMAGE --definition FILE",
			"convert FILE out.hex", "verify FILE --fingerprint SHA256:AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA",
			"definition check FILE", "definition check DEFINITION --image FILE", "limits check FILE --definition DEFINITION", "limits check LIMITS --definition FILE",
			"limits propose --definition FILE", "limits propose --definition DEFINITION --image FILE",
			"run show FILE", "run show RUN --channels FILE", "run gain --before FILE --after RUN", "run gain --before RUN --after FILE", "run gain --before RUN --after RUN --channels FILE",
			"run check FILE --image IMAGE --definition DEFINITION", "run check RUN --image FILE --definition DEFINITION", "run check RUN --image IMAGE --definition FILE",
			"run check RUN --image IMAGE --definition DEFINITION --limits FILE", "run check RUN --image IMAGE --definition DEFINITION --candidate FILE", "run check RUN --image IMAGE --definition DEFINITION --channels FILE",
			"checksum fix FILE --definition DEFINITION --out out.bin", "checksum fix IMAGE --definition FILE --out out.bin",
			"definition carry FILE --from IMAGE --to IMAGE --out out.yaml", "definition carry DEFINITION --from FILE --to IMAGE --out out.yaml",
			"definition carry DEFINITION --from IMAGE --to FILE --out out.yaml",
			"definition import FILE", "definition export FILE --csv",
			"login 127.0.0.1:1 --key FILE",
		} {
			args := strings.Fields(line)
			for i := range args {
				if args[i] = good.Replace(args[i]); args[i] == "FILE" {
					args[i] = bad
				}
			}
			c := exec.Command("witnessmark", args...)
			var out, errOut bytes.Buffer
			c.Stdout, c.Stderr = &out, &errOut
			if err := c.Start(); err != nil {
				t.Fatal(err)
			}
			stuck := time.AfterFunc(time.Minute, func() { _ = c.Process.Kill() })
			_ = c.Wait()
			stuck.Stop()
			if got := c.ProcessState.ExitCode(); got != 2 || out.Len() > 0 {
				t.Errorf("%s: %s: status %d, printed %.200q", what, line, got, out.String())
			}
			text := errOut.String()
			if first, rest, _ := strings.Cut(text, "\n"); !strings.HasPrefix(first, "witnessmark: ") || !strings.Contains(first, bad) || rest != "" && !strings.HasPrefix(rest, "try: ") {
				t.Errorf("%s: %s: said %.300q", what, line, text)
			}
			worst = max(worst, maxRSS(c))
			ran++
		}
	}
	t.Logf("%d commands; the most memory that one had was %d MiB", ran, worst>>20)
	if worst > 256<<20 {
		t.Errorf("a command had %d MiB", worst>>20)
	}
}
