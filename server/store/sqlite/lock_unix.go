//go:build unix

package sqlite

import (
	"errors"
	"os"
	"syscall"
)

// lockFile takes the lock of a file, which ends with its closing or with the process; false: another one has it. It is a lock of the
// whole file (flock), which other files' locks know nothing of.
func lockFile(f *os.File) (bool, error) {
	err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if errors.Is(err, syscall.EWOULDBLOCK) {
		return false, nil
	}
	return err == nil, err
}
