// Package embedded runs the whole service inside another program: the same process as the server's, but nothing listens, and whoever has
// the program may do everything.
package embedded

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"time"

	"google.golang.org/grpc"

	"github.com/catchline/catchline/server/config"
	"github.com/catchline/catchline/server/process"
)

// Options say what to run.
type Options struct {
	// File is the SQLite file, made if there is none. Empty: a temporary one that is gone after Close.
	File string
	// Logger gets what the service logs. Nil: nothing is logged.
	Logger *slog.Logger
}

// Service is a running service.
type Service struct {
	program *process.Program
	scratch string // directory to remove
}

// Open starts a service.
func Open(ctx context.Context, o Options) (*Service, error) {
	s := &Service{}
	if o.Logger == nil {
		o.Logger = slog.New(slog.DiscardHandler)
	}
	if o.File == "" {
		var err error
		if s.scratch, err = os.MkdirTemp("", "catchline-"); err != nil {
			return nil, fmt.Errorf("there is no room for a temporary database: %w", err)
		}
		o.File = filepath.Join(s.scratch, "catchline.db")
	}
	c := config.Default()
	c.Store, c.Create = config.Database(o.File), true
	c.GRPC.Address, c.HTTP.Address, c.Telemetry.MetricsAddress = "", "", ""
	// There is one caller, who would rather wait than be sent away.
	c.Limits.StudioRequestsPerSecond, c.Limits.QueueTime, c.Limits.StandingQueueTime = 0, 10*time.Second, 10*time.Second
	program, err := process.Open(ctx, c, process.Options{Version: "embedded", Logger: o.Logger, Beside: true})
	if err != nil {
		return nil, errors.Join(err, s.Close())
	}
	s.program = program
	return s, nil
}

// Conn is the way to the service. A message that is sent belongs to the service from then on.
func (s *Service) Conn() grpc.ClientConnInterface { return s.program.Local() }

// Close ends the service and removes a temporary database.
func (s *Service) Close() error {
	var errs []error
	if s.program != nil {
		errs = append(errs, s.program.Close())
	}
	if s.scratch != "" {
		errs = append(errs, os.RemoveAll(s.scratch))
	}
	return errors.Join(errs...)
}
