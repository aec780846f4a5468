package disk

import "golang.org/x/sys/windows"

func of(dir string) (size, free uint64, err error) {
	path, err := windows.UTF16PtrFromString(dir)
	if err == nil {
		err = windows.GetDiskFreeSpaceEx(path, &free, &size, nil)
	}
	return size, free, err
}
