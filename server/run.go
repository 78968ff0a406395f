package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"

	"google.golang.org/grpc"

	"github.com/catchline/catchline/client"
	"google.golang.org/grpc/grpclog"

	"github.com/catchline/catchline/server/config"
	"github.com/catchline/catchline/server/process"
	"github.com/catchline/catchline/server/telemetry"
	"github.com/catchline/catchline/server/web"
	"github.com/catchline/catchline/testdata/demo"
)

// run does what the command line asks for.
func run(ctx context.Context, args []string, getenv func(string) (string, bool), out, logs io.Writer) error {
	c, command, err := config.Load(config.Source{Args: args, Getenv: getenv, Out: out})
	if errors.Is(err, config.ErrHelp) {
		return nil
	}
	if err != nil {
		return err
	}
	switch command {
	case "version":
		fmt.Fprintln(out, client.Version())
		return nil
	case "backup":
		return process.Backup(ctx, c.Config, c.Backup.To, out)
	case "restore":
		return process.Restore(ctx, c.Config, c.Restore.From, c.Restore.Check, out)
	case "check":
		return process.Check(ctx, c.Config, out)
	case "migrate":
		return process.Migrate(ctx, c.Config, out)
	}
	return serve(ctx, c.Config, logs)
}

func serve(ctx context.Context, c config.Config, logs io.Writer) (err error) {
	log, err := telemetry.NewLogger(logs, c.Telemetry.LogLevel, c.Telemetry.LogFormat)
	if err != nil {
		return err
	}
	// gRPC's own log: its errors are those of connections, as a client that went away.
	grpclog.SetLoggerV2(grpclog.NewLoggerV2(io.Discard, io.Discard, slog.NewLogLogger(log.Handler(), slog.LevelInfo).Writer()))
	p, err := process.Open(ctx, c, process.Options{Version: client.Version(), Logger: log, Pages: web.Handler(), Seed: seed})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, p.Close()) }()
	process.TuneProcessors()
	process.TuneMemory()
	return p.Run(ctx)
}

// seed loads the demo studio.
func seed(ctx context.Context, conn grpc.ClientConnInterface) error {
	return demo.Seed(ctx, client.Over(conn))
}
