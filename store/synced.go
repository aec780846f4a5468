package store

import (
	"fmt"
	"os"
	"path/filepath"
	"runtime"
)

// WriteSynced puts a file in place whole or not at all, and durably: a temporary file beside it,
// sync, rename, sync of the folder. Only its owner may read it.
func WriteSynced(path string, data []byte) (err error) {
	folder := filepath.Dir(path)
	f, err := os.CreateTemp(folder, "."+filepath.Base(path)+"-*")
	if err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	defer func() {
		if err != nil {
			f.Close()
			os.Remove(f.Name())
			err = fmt.Errorf("write %s: %w", path, err)
		}
	}()
	if _, err = f.Write(data); err != nil {
		return err
	}
	if err = f.Sync(); err != nil {
		return err
	}
	if err = f.Close(); err != nil {
		return err
	}
	if err = os.Rename(f.Name(), path); err != nil {
		return err
	}
	return SyncFolder(folder)
}

// SyncFolder makes names in a folder durable. Windows cannot, and does it by itself.
func SyncFolder(folder string) error {
	if runtime.GOOS == "windows" {
		return nil
	}
	f, err := os.Open(folder)
	if err != nil {
		return err
	}
	err = f.Sync()
	if closed := f.Close(); err == nil {
		err = closed
	}
	return err
}
