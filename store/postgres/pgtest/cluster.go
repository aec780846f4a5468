package pgtest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgconn"
)

// Cluster is a server in a folder of its own, reached by a socket there, without a password. Its methods are for one goroutine.
type Cluster struct {
	dir     string    // of socket, log and data
	running *exec.Cmd // nil where it is not
	reaper  io.Closer
}

// Start makes and starts a cluster, which ends with the test. Each setting is a line of postgresql.conf.
func Start(t testing.TB, settings ...string) *Cluster {
	t.Helper()
	need(t)
	c, err := start(strings.Join(settings, "\n"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(c.remove)
	return c
}

// start makes a cluster that its reaper ends when this process does.
func start(settings string) (*Cluster, error) {
	c, err := folder()
	if err != nil {
		return nil, err
	}
	if err := fresh.into(c); err != nil {
		c.remove()
		return nil, err
	}
	// Small, and as safe as any server: the engine refuses one that is not.
	conf := "listen_addresses = ''\nunix_socket_directories = '" + c.dir + "'\nport = 5432\nshared_buffers = 32MB\nmax_connections = 100\n" +
		"lc_messages = 'C'\nwal_keep_size = 64MB\nwal_init_zero = off\nmin_wal_size = 16MB\n" + settings + "\n"
	if err := appendFile(filepath.Join(c.Data(), "postgresql.conf"), conf); err != nil {
		c.remove()
		return nil, err
	}
	if err := c.start(); err != nil {
		c.remove()
		return nil, err
	}
	return c, nil
}

// fresh is a cluster that was never started; to copy it is quicker than to make another.
var fresh template

type template struct {
	once sync.Once
	made *Cluster
	err  error
}

func (f *template) into(c *Cluster) error {
	f.once.Do(func() {
		if f.made, f.err = folder(); f.err == nil {
			f.err = f.made.do("initdb", "-D", f.made.Data(), "-A", "trust", "-U", "postgres", "-E", "UTF8", "--locale=C", "--wal-segsize=4", "--no-sync")
		}
	})
	if f.err != nil {
		return f.err
	}
	if out, err := exec.Command("cp", "-a", f.made.Data(), c.Data()).CombinedOutput(); err != nil {
		return fmt.Errorf("cp: %w: %s", err, out)
	}
	return nil
}

// folder is a place for a cluster, removed when this process ends, with the server in it.
func folder() (*Cluster, error) {
	dir, err := os.MkdirTemp("", "wmpg")
	if err != nil {
		return nil, err
	}
	c := &Cluster{dir: dir}
	if err := giveAway(dir); err != nil {
		return nil, err
	}
	cmd := exec.Command("sh", "-c", reap, dir)
	apart(cmd, false)
	if c.reaper, err = cmd.StdinPipe(); err != nil {
		return nil, err
	}
	return c, cmd.Start()
}

// reap waits for the end of a pipe, which ends with this process, also when it is killed. A server that ends removes its
// file; one that was killed left it, and the number in it may be another's by now. One that Kill froze goes on to its end.
// What is still being made in the folder fails once it is removed, and may need it removed again.
const reap = `read end
	file="$0/data/postmaster.pid"
	if pid=$(head -n 1 "$file" 2>/dev/null) && { cat "/proc/$pid/cmdline" || ps -o args= -p "$pid"; } 2>/dev/null | grep -aqF "$0"; then
		kill -QUIT "$pid"; kill -CONT "$pid"
		for i in $(seq 200); do [ -e "$file" ] || break; sleep 0.05; done
	fi
	for i in $(seq 50); do rm -rf "$0" 2>/dev/null && sleep 0.1; [ -e "$0" ] || break; done`

func (c *Cluster) command(name string, args ...string) (*exec.Cmd, error) {
	path, err := program(name)
	if err != nil {
		return nil, err
	}
	cmd := exec.Command(path, args...)
	cmd.Dir = c.dir
	cmd.Env = append(os.Environ(), "LC_ALL=C", "HOME="+c.dir)
	apart(cmd, true)
	return cmd, nil
}

// do runs one of PostgreSQL's programs to its end.
func (c *Cluster) do(name string, args ...string) error {
	cmd, err := c.command(name, args...)
	if err != nil {
		return err
	}
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("%s: %w: %s", name, err, out)
	}
	return nil
}

// Start starts a server that was stopped or killed, and waits until it answers.
func (c *Cluster) Start(t testing.TB) {
	t.Helper()
	if err := c.start(); err != nil {
		t.Fatal(err)
	}
}

func (c *Cluster) start() error {
	cmd, err := c.command("postgres", "-D", c.Data())
	if err != nil {
		return err
	}
	log, err := os.OpenFile(c.log(), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	defer log.Close()
	cmd.Stdout, cmd.Stderr = log, log
	if err := cmd.Start(); err != nil {
		return err
	}
	c.running = cmd
	for until := time.Now().Add(time.Minute); time.Now().Before(until); time.Sleep(20 * time.Millisecond) {
		if _, err := c.sql("postgres", "SELECT 1"); err == nil {
			return nil
		}
		if state, _ := stat(cmd.Process.Pid); state == "Z" {
			break
		}
	}
	text, _ := os.ReadFile(c.log())
	c.kill()
	return fmt.Errorf("postgres does not answer: %s", text[max(0, len(text)-2000):])
}

// Stop ends the server as an administrator does who does not wait for anybody.
func (c *Cluster) Stop(t testing.TB) {
	t.Helper()
	if err := c.running.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	_ = c.running.Wait()
	c.running = nil
}

// Kill ends the server and all its processes at once, as a machine does that loses its power; what the
// system had not written yet is there all the same.
func (c *Cluster) Kill() { c.kill() }

func (c *Cluster) kill() {
	if c.running == nil {
		return
	}
	freeze(c.running.Process) // or it would start others meanwhile
	for until := time.Now().Add(time.Minute); time.Now().Before(until); time.Sleep(time.Millisecond) {
		state, _ := stat(c.running.Process.Pid)
		frozen := state == "T" || state == "Z" || state == ""
		children := c.children()
		if frozen && len(children) == 0 { // as long as one is left, the server cannot be started again
			break
		}
		for _, pid := range children {
			if p, err := os.FindProcess(pid); err == nil {
				_ = p.Kill()
			}
		}
	}
	_ = c.running.Process.Kill()
	_ = c.running.Wait()
	c.running = nil
}

// Restart is Kill and Start.
func (c *Cluster) Restart(t testing.TB) {
	t.Helper()
	c.Kill()
	c.Start(t)
}

// children are the processes that the server started and that live.
func (c *Cluster) children() (pids []int) {
	all, _ := filepath.Glob("/proc/[0-9]*")
	for _, path := range all {
		pid, err := strconv.Atoi(filepath.Base(path))
		if state, parent := stat(pid); err == nil && state != "Z" && parent == c.running.Process.Pid {
			pids = append(pids, pid)
		}
	}
	return pids
}

// stat is a process's state, as a letter, and its parent; nothing where there is none, or where the system does not tell.
func stat(pid int) (state string, parent int) {
	text, _ := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	_, _ = fmt.Sscan(string(text[bytes.LastIndexByte(text, ')')+1:]), &state, &parent) // pid (name) state parent ...
	return state, parent
}

func (c *Cluster) remove() {
	c.kill()
	_ = c.reaper.Close()
	_ = os.RemoveAll(c.dir)
}

// Data is the folder of its files.
func (c *Cluster) Data() string { return filepath.Join(c.dir, "data") }

func (c *Cluster) log() string { return filepath.Join(c.dir, "log") }

// URL is a database of the cluster that exists from the start.
func (c *Cluster) URL() string { return c.url("postgres") }

func (c *Cluster) url(database string) string {
	return "postgres://postgres@/" + database + "?host=" + c.dir
}

// SQL runs statements as the superuser in the database of URL, and answers with what they bring, a row a line.
func (c *Cluster) SQL(t testing.TB, text string) string {
	t.Helper()
	out, err := c.sql("postgres", text)
	if err != nil {
		t.Fatalf("%s: %v", text, err)
	}
	return out
}

func (c *Cluster) sql(database, text string) (string, error) {
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	defer cancel()
	conn, err := pgconn.Connect(ctx, c.url(database))
	if err != nil {
		return "", err
	}
	defer conn.Close(ctx)
	results, err := conn.Exec(ctx, text).ReadAll()
	var lines []string
	for _, result := range results {
		for _, row := range result.Rows {
			lines = append(lines, string(bytes.Join(row, []byte("|"))))
		}
	}
	return strings.Join(lines, "\n"), err
}

// Log is what the server wrote to its log.
func (c *Cluster) Log(t testing.TB) string {
	t.Helper()
	text, err := os.ReadFile(c.log())
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

func appendFile(path, text string) error {
	f, err := os.OpenFile(path, os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		return err
	}
	_, err = f.WriteString(text)
	return errors.Join(err, f.Close())
}
