package sqlite

import (
	"errors"
	"os"

	"golang.org/x/sys/windows"
)

// lockFile takes the lock of a file, which ends with its closing or with the process; false: another one has it.
func lockFile(f *os.File) (bool, error) {
	err := windows.LockFileEx(windows.Handle(f.Fd()), windows.LOCKFILE_EXCLUSIVE_LOCK|windows.LOCKFILE_FAIL_IMMEDIATELY, 0, 1, 0, new(windows.Overlapped))
	if errors.Is(err, windows.ERROR_LOCK_VIOLATION) {
		return false, nil
	}
	return err == nil, err
}
