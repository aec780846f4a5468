package bolt

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"time"

	"go.etcd.io/bbolt"
	bbolterrors "go.etcd.io/bbolt/errors"

	"witnessmark/store"
)

// format is the layout of the file; another number is another version's.
const format = "2"

var (
	bucketMeta      = []byte("meta")
	bucketEntries   = []byte("entries")
	bucketHashes    = []byte("hashes")
	bucketBlobs     = []byte("blobs")
	bucketDocuments = []byte("documents")
	keyFormat       = []byte("format")
	keySum          = []byte("sum")
)

// Errors of opening, beside those of the system and store.ErrDamaged.
var (
	// ErrHeld is a store that another process did not let go of.
	ErrHeld = errors.New("another process holds it")
	// ErrLayout is a store of another version, or one with damage in that very place.
	ErrLayout = errors.New("take the version that made it")
)

// Options says how to open a store.
type Options struct {
	// Wait is how long to wait for another process to let go, in steps of 50 ms; 0 tries once.
	Wait time.Duration
	// ReadOnly is for View and Snapshot, and changes no byte of the file. Several may read at once,
	// and none while a process has it open for writing.
	ReadOnly bool
	// Unchecked spares looking at every page's header, for a file that this process looked at before
	// and that has not changed since.
	Unchecked bool
	// ByPage reads only the pages that lead to what is asked for, and checks each as it goes: damage
	// elsewhere does no harm, and none stops the process. It is ReadOnly, and for View alone.
	ByPage bool
	// MapSize is how much address space to map at the start, in bytes, where the system allows:
	// growth beyond it waits for open reads, and then everybody for it, and what was written so far is
	// copied out of it first.
	MapSize int64
	// Step is by how many bytes the file grows then; 0 is bbolt's 16 MiB.
	Step int
}

// serving is for a process that keeps the store open: it starts at once, however large the file is,
// and looks at the pages when it has time (CheckPages).
var serving = Options{Wait: time.Second, MapSize: 8 << 30, Unchecked: true}

// Create makes a new, empty store at path, where no file may be, and keeps it open as Open does.
func Create(path string) (*Engine, error) {
	e, err := CreateWith(path, serving)
	if err == nil {
		e.name()
	}
	return e, err
}

// CreateWith makes a new, empty store at path, where no file may be. Where much is mapped, the file
// grows by a Step at a time from the start.
func CreateWith(path string, o Options) (*Engine, error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_RDWR, 0o600)
	if err != nil {
		return nil, fmt.Errorf("create store: %w", err)
	}
	if err := f.Close(); err != nil {
		return nil, fmt.Errorf("create store: %w", err)
	}
	e, err := open(path, o, true)
	if err == nil {
		if err = store.SyncFolder(filepath.Dir(path)); err != nil {
			e.Close()
		}
	}
	if err != nil {
		os.Remove(path)
		return nil, fmt.Errorf("create store: %w", err)
	}
	return e, nil
}

// Open opens the store at path, which must exist, for as long as a process serves. While another
// holds it, Open waits a second and then says which one.
func Open(path string) (*Engine, error) {
	e, err := OpenWith(path, serving)
	if err == nil {
		e.name()
	}
	return e, err
}

// OpenReadOnly opens the store at path to look at it, and waits as Open does.
func OpenReadOnly(path string) (*Engine, error) {
	return OpenWith(path, Options{Wait: serving.Wait, ReadOnly: true})
}

// OpenWith opens the store at path, which must exist.
func OpenWith(path string, o Options) (*Engine, error) {
	e, err := open(path, o, false)
	if err != nil {
		return nil, fmt.Errorf("open store: %w", err)
	}
	return e, nil
}

func open(path string, o Options, empty bool) (*Engine, error) {
	o.ReadOnly = o.ReadOnly || o.ByPage
	e := &Engine{path: path, options: o, commit: (*bbolt.Tx).Commit, copy: bbolt.Compact}
	db, file, err := openFile(path, o, empty)
	if err != nil {
		if errors.Is(err, bbolterrors.ErrTimeout) {
			return nil, fmt.Errorf("%s: %w%s", path, ErrHeld, holder(path))
		}
		return nil, err
	}
	e.db, e.file = db, file
	err = guard(func() error {
		if empty {
			return db.Update(layOut)
		}
		return db.View(func(tx *bbolt.Tx) error {
			if !o.Unchecked && !o.ByPage {
				if err := checkPages(e, tx); err != nil {
					return err
				}
			}
			return e.checkLayout(tx)
		})
	})
	if err == nil && !o.ReadOnly {
		err = removeLeftovers(path)
	}
	if err != nil {
		_ = guard(db.Close)
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return e, nil
}

// openFile opens the file that has this name once it is locked: another one may have been renamed
// into its place while this process waited.
func openFile(path string, o Options, empty bool) (*bbolt.DB, *os.File, error) {
	for {
		db, file, err := lockFile(path, o, empty)
		if err != nil {
			return nil, nil, err
		}
		locked, err1 := file.Stat()
		named, err2 := os.Stat(path)
		if err := errors.Join(err1, err2); err != nil {
			return nil, nil, errors.Join(err, guard(db.Close))
		}
		if os.SameFile(locked, named) {
			return db, file, nil
		}
		if err := guard(db.Close); err != nil {
			return nil, nil, err
		}
	}
}

func lockFile(path string, o Options, empty bool) (db *bbolt.DB, file *os.File, err error) {
	options := bbolt.Options{Timeout: max(o.Wait, 1), ReadOnly: o.ReadOnly, FreelistType: bbolt.FreelistMapType}
	options.OpenFile = func(path string, flag int, mode os.FileMode) (_ *os.File, err error) {
		// bbolt would make a new store out of no file and out of an empty one.
		if file, err = os.OpenFile(path, flag&^os.O_CREATE, mode); err != nil {
			return nil, err
		}
		info, err := file.Stat()
		if err == nil && (!info.Mode().IsRegular() || info.Size() == 0 && !empty) {
			err = fmt.Errorf("%s: it is empty or no file: %w", path, store.ErrDamaged)
		}
		if err != nil {
			file.Close()
			return nil, err
		}
		return file, nil
	}
	// Only Linux maps more than the file without making it grow.
	if runtime.GOOS == "linux" && strconv.IntSize == 64 && !o.ReadOnly {
		options.InitialMmapSize = int(o.MapSize)
	}
	err = guard(func() (err error) {
		db, err = bbolt.Open(path, 0o600, &options)
		if err != nil && options.InitialMmapSize > 0 && !errors.Is(err, bbolterrors.ErrTimeout) {
			// Where address space is rationed the store still works, only with waits when it grows.
			options.InitialMmapSize = 0
			db, err = bbolt.Open(path, 0o600, &options)
		}
		if err == nil && o.Step > 0 {
			db.AllocSize = o.Step
		}
		return err
	})
	var system *fs.PathError
	var errno syscall.Errno
	switch {
	case errors.Is(err, store.ErrDamaged) && file != nil:
		file.Close() // and with it the lock, if bbolt fell over its own damage
	case err != nil && !errors.Is(err, bbolterrors.ErrTimeout) && !errors.As(err, &system) && !errors.As(err, &errno):
		err = fmt.Errorf("%s: %w: %w", path, store.ErrDamaged, err) // what bbolt says of a file, in words or with a name
	}
	return db, file, err
}

func layOut(tx *bbolt.Tx) error {
	for _, name := range [][]byte{bucketMeta, bucketEntries, bucketHashes, bucketBlobs, bucketDocuments} {
		if _, err := tx.CreateBucketIfNotExists(name); err != nil {
			return err
		}
	}
	return errors.Join(tx.Bucket(bucketMeta).Put(keyFormat, []byte(format)), putSum(tx, store.Sum{}))
}

func (e *Engine) checkLayout(tx *bbolt.Tx) error {
	t := e.reading(tx)
	meta := t.cursor(bucketMeta)
	if meta == nil {
		return fmt.Errorf("it is a bbolt file, but no store of this project: %w", store.ErrDamaged)
	}
	if key, got := meta.Seek(keyFormat); string(key) != string(keyFormat) || string(got) != format {
		return fmt.Errorf("its layout is %.20q, and only %q can be read: %w", got, format, ErrLayout)
	}
	for _, name := range [][]byte{bucketEntries, bucketHashes, bucketBlobs, bucketDocuments} {
		if t.cursor(name) == nil {
			return fmt.Errorf("it has no bucket %s: %w", name, store.ErrDamaged)
		}
	}
	return nil
}

func holderFile(path string) string { return path + ".pid" }

// name says who holds the store, for the message to whoever comes second; losing it loses nothing.
func (e *Engine) name() {
	e.named = true
	_ = os.WriteFile(holderFile(e.path), []byte(strconv.Itoa(os.Getpid())+"\n"), 0o600)
}

// holder adds to ErrHeld who that is, as far as the file beside the store tells.
func holder(path string) string {
	raw, err := os.ReadFile(holderFile(path))
	if pid, notNumber := strconv.Atoi(strings.TrimSpace(string(raw))); err == nil && notNumber == nil {
		return fmt.Sprintf(", most likely %d", pid)
	}
	return ""
}
