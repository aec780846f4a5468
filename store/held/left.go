package held

import (
	"os"
	"path/filepath"
)

// Left are the files and folders in a folder that Create or Folder made with that pattern, and nobody uses any more.
func Left(folder, pattern string) (paths []string) {
	for _, name := range matching(folder, pattern) {
		path := filepath.Join(folder, name)
		info, err := os.Lstat(path)
		if err != nil {
			continue
		}
		stands := path
		if info.IsDir() {
			if stands = filepath.Join(path, inUse); !ours(info) {
				continue
			}
		}
		remove(stands, func(string) error { paths = append(paths, path); return nil })
	}
	return paths
}
