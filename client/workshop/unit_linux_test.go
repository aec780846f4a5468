package workshop

import (
	"context"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"witnessmark/client"
)

// systemd puts one in the place of the machine's that does what Start asks of it: it starts the unit's command line, writes down
// what it was asked for, and has the answers that a test gives it.
func (m *machine) systemd(answers string) (log string) {
	m.Helper()
	dir := m.TempDir()
	log = filepath.Join(dir, "asked")
	m.script("systemctl", `shift; echo "$*" >> `+log+`
case "$*" in `+answers+`
"show --property=Version") echo Version=252;;
"show --property=NRestarts --value witnessmarkd.service") echo 0;;
"enable --now witnessmarkd.service") eval "$(sed -n 's/^ExecStart=//p' "$XDG_CONFIG_HOME/systemd/user/witnessmarkd.service" | sed 's/%%/%/g; s/[$][$]/\\$/g') >/dev/null 2>&1 &"; echo $! > `+dir+`/pid;;
"disable --now witnessmarkd.service") if [ -e `+dir+`/pid ]; then kill $(cat `+dir+`/pid); while kill -0 $(cat `+dir+`/pid) 2>/dev/null; do sleep 0.05; done; fi;;
"daemon-reload") ;;
*) echo "unexpected: $*" >&2; exit 1;;
esac`)
	m.script("loginctl", "echo no")
	m.script("journalctl", "echo 'witnessmarkd: the seccomp filter bites'")
	m.Cleanup(func() { // the unit's process goes on as long as the machine does
		if pid, err := os.ReadFile(filepath.Join(dir, "pid")); err == nil {
			_ = exec.Command("kill", strings.TrimSpace(string(pid))).Run()
		}
	})
	return log
}

func (m *machine) asked(log string) string {
	m.Helper()
	b, err := os.ReadFile(log)
	if err != nil {
		m.Fatal(err)
	}
	return strings.Join(strings.Split(strings.TrimSpace(string(b)), "\n"), "; ")
}

func unitFile() string {
	return filepath.Join(os.Getenv("XDG_CONFIG_HOME"), "systemd", "user", unitName)
}

// Where systemd runs for a person it runs the daemon, and goes on with it.
func TestStartAsUnit(t *testing.T) {
	m := newMachine(t)
	log := m.systemd("")
	o := m.options()
	o.Folder = filepath.Join(t.TempDir(), `a "workshop" of 100% $HOME`)
	s := m.starts(o)
	if says := strings.Join(s.Daemon.Says, "\n"); s.Daemon.Unit != unitFile() || !strings.Contains(says, unitFile()) || !strings.Contains(says, "loginctl enable-linger") {
		t.Errorf("%s: %s", s.Daemon.Unit, says)
	}
	if got, want := m.asked(log), "show --property=Version; daemon-reload; enable --now witnessmarkd.service; show --property=NRestarts"; !strings.HasPrefix(got, want) {
		t.Errorf("asked of systemd: %s", got)
	}
	if err := s.Daemon.Stop(); err != nil {
		t.Error(err)
	}
	if err := s.Client.Sync(ctx); err != nil {
		t.Errorf("a unit ends with this program: %v", err)
	}
	if d, err := Resume(ctx, m.home, nil); d != nil || err != nil {
		t.Errorf("a unit is started beside itself: %v, %v", d, err)
	}
}

// Where the unit does not come to run, nothing is left of it, and the daemon is a child.
func TestUnitThatFails(t *testing.T) {
	const enable, restarts = `"enable --now witnessmarkd.service")`, `"show --property=NRestarts --value witnessmarkd.service")`
	for answers, why := range map[string]string{
		enable + ` echo "Failed to enable unit: it is masked" >&2; exit 1;;`: "it is masked",
		restarts + ` echo 3;;`: "the unit fails: the seccomp filter bites",
	} {
		m := newMachine(t)
		log := m.systemd(answers)
		s := m.starts(m.options())
		if says := strings.Join(s.Daemon.Says, "\n"); s.Daemon.Unit != "" || !strings.Contains(says, "it is no systemd user unit: ") || !strings.Contains(says, why) {
			t.Errorf("%s", says)
		}
		if client.FileExists(unitFile()) || !strings.Contains(m.asked(log), "disable --now witnessmarkd.service; daemon-reload") {
			t.Errorf("the unit is left: %s", m.asked(log))
		}
		if p, err := planIn(m.home); err != nil || p.Unit != "" {
			t.Errorf("%+v, %v", p, err)
		}
	}
}

// Another's unit of that name is left alone; and where ours cannot be taken away, that is said and nothing else begun.
func TestUnitsInTheWay(t *testing.T) {
	m := newMachine(t)
	m.systemd("")
	if err := errors.Join(os.MkdirAll(filepath.Dir(unitFile()), 0o700), os.WriteFile(unitFile(), []byte("another's"), 0o600)); err != nil {
		t.Fatal(err)
	}
	s := m.starts(m.options())
	if text, err := os.ReadFile(unitFile()); err != nil || string(text) != "another's" || !strings.Contains(strings.Join(s.Daemon.Says, "\n"), "is there already") {
		t.Errorf("%s, %v: %q", text, err, s.Daemon.Says)
	}
	m = newMachine(t)
	m.systemd(`"enable --now witnessmarkd.service"|"disable --now witnessmarkd.service") echo "the bus is gone" >&2; exit 1;;`)
	if _, err := Start(ctx, m.options()); err == nil || !strings.Contains(err.Error(), "could not all be taken away") || !strings.Contains(err.Error(), "the bus is gone") {
		t.Errorf("%v", err)
	}
	m.systemd("")
	m.starts(m.options())
}

// TestRealSystemd has a systemd of its own run for this test's person, in a view of the disk of its own, which takes root.
func TestRealSystemd(t *testing.T) {
	if os.Getenv(underIt) != "" {
		underSystemd(t)
		return
	}
	const manager = "/usr/lib/systemd/systemd"
	_, missing := exec.LookPath("unshare")
	if _, err := os.Stat(manager); err != nil || missing != nil {
		const how = "systemd or unshare is not here: apt-get install systemd util-linux"
		if os.Getenv("CI") != "" {
			t.Fatal(how)
		}
		t.Skip(how)
	}
	if os.Getuid() != 0 {
		t.Skip("it takes root to have a systemd of one's own")
	}
	own, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	programs, err := built()
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	group := filepath.Base(filepath.Dir(dir))
	t.Cleanup(func() { // gone is all that ran in it
		for _, root := range []string{"/sys/fs/cgroup", "/sys/fs/cgroup/unified"} {
			_ = exec.Command("find", filepath.Join(root, group), "-depth", "-type", "d", "-exec", "rmdir", "{}", ";").Run()
		}
	})
	soon, stop := context.WithTimeout(ctx, time.Minute)
	defer stop()
	cmd := exec.CommandContext(soon, "unshare", "--mount", "--pid", "--fork", "--kill-child", "--mount-proc", "--propagation", "private", "sh", "-c", `
mount -t tmpfs none /run && mkdir -p -m 700 /run/systemd/system /run/user/0 || exit 3
umount -R /sys/fs/cgroup; mount -t cgroup2 none /sys/fs/cgroup && mkdir "/sys/fs/cgroup/$3" && echo $$ > "/sys/fs/cgroup/$3/cgroup.procs" || exit 3
export HOME="$2" XDG_CONFIG_HOME="$2/.config" XDG_RUNTIME_DIR=/run/user/0 DBUS_SESSION_BUS_ADDRESS= `+underIt+`="$4"
`+manager+` --user >"$2/log" 2>&1 &
for i in $(seq 100); do systemctl --user show --property=Version >/dev/null 2>&1 && break; sleep 0.1; done
"$1" -test.run '^TestRealSystemd$' -test.v`, "sh", own, dir, group, programs)
	out, err := cmd.CombinedOutput()
	var exit *exec.ExitError
	switch {
	case errors.As(err, &exit) && exit.ExitCode() == 3:
		t.Skipf("no view of the disk of its own can be had here: %s", out)
	case err != nil || !strings.Contains(string(out), "--- PASS: TestRealSystemd"):
		log, _ := os.ReadFile(filepath.Join(dir, "log"))
		t.Fatalf("%v\n%s\n%s", err, out, log)
	}
	t.Logf("%s", out)
}

// underSystemd is the test where systemd runs.
func underSystemd(t *testing.T) {
	config := os.Getenv("XDG_CONFIG_HOME")
	m := newMachine(t)
	t.Setenv("XDG_CONFIG_HOME", config) // systemd's own
	if err := os.Remove(filepath.Join(m.bin, "systemctl")); err != nil {
		t.Fatal(err)
	}
	o := m.options()
	o.Folder = filepath.Join(t.TempDir(), "100% $HOME of a workshop")
	s := m.starts(o)
	if s.Daemon.Unit != unitFile() {
		t.Fatalf("it is no unit: %q", s.Daemon.Says)
	}
	// What the unit forbids the daemon is in force, and it works all the same.
	other := filepath.Join(t.TempDir(), "calibrator")
	if _, err := client.NewKey(other, "", nil); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Client.Enrol(ctx, "calibrator", []string{"calibrator"}, other+".pub"); err != nil {
		t.Error(err)
	}
	pid, err := systemctl(ctx, "show", "--property=MainPID", "--value", unitName)
	if err != nil {
		t.Fatal(err)
	}
	status, err := os.ReadFile("/proc/" + strings.TrimSpace(pid) + "/status")
	if err != nil || !strings.Contains(string(status), "NoNewPrivs:\t1") || !strings.Contains(string(status), "Seccomp:\t2") {
		t.Errorf("%v, %s", err, status)
	}
	// Killed, it is started again.
	if err := exec.Command("kill", "-KILL", strings.TrimSpace(pid)).Run(); err != nil {
		t.Fatal(err)
	}
	if err := patiently(ctx, begins, func() (bool, error) { err := s.Client.Sync(ctx); return err == nil, err }); err != nil {
		t.Error(err)
	}
	p, err := planIn(m.home)
	if err != nil {
		t.Fatal(err)
	}
	if err := p.removeUnit(ctx); err != nil || client.FileExists(unitFile()) {
		t.Errorf("taken away: %v", err)
	}
}
