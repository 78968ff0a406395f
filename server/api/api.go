// Package api answers the requests of the contract: it turns them into calls of the model and of the store, and whatever goes
// wrong into an answer that says what. Each service is a type of its own, and each resource has a file.
package api

import (
	"context"
	"log/slog"
	"runtime"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/access"
	"github.com/catchline/catchline/server/store"
)

// Options are what an API works with.
type Options struct {
	Store  store.Store
	Logger *slog.Logger     // nil: slog.Default()
	Now    func() time.Time // nil: time.Now
	// OnlyStudio says which studio a caller is bound to; false: to none, as the operator or where there are no keys. nil: nobody is bound.
	OnlyStudio func(ctx context.Context) (studio string, bound bool)
	// Workers is how many parts of one sheet are computed at once; 0: as many as Go has processors.
	Workers int
	// KeyLife bounds how long keys work.
	KeyLife access.KeyLife
	// Turn waits until a part of a sheet may be computed; done ends that. nil: at once.
	Turn func(ctx context.Context) (done func(), err error)
}

// API is all services on one store.
type API struct {
	store      store.Store
	log        *slog.Logger
	now        func() time.Time
	onlyStudio func(ctx context.Context) (string, bool)
	workers    int
	keyLife    access.KeyLife
	turn       func(ctx context.Context) (func(), error)

	cache *studioCache

	studios   *studios
	glazes    *glazes
	materials *materials
	bodies    *bodies
	firings   *firings
	wares     *wares
	tiles     *tiles
	sheets    *sheets
	keys      *keys

	scores       *scores
	calibrations *calibrations
}

// New makes the services.
func New(o Options) *API {
	a := &API{store: o.Store, log: o.Logger, now: o.Now, onlyStudio: o.OnlyStudio, workers: o.Workers, keyLife: o.KeyLife, turn: o.Turn}
	if a.log == nil {
		a.log = slog.Default()
	}
	if a.now == nil {
		a.now = time.Now
	}
	if a.workers == 0 {
		a.workers = runtime.GOMAXPROCS(0)
	}
	if a.turn == nil {
		a.turn = func(context.Context) (func(), error) { return func() {}, nil }
	}
	if a.onlyStudio == nil {
		a.onlyStudio = func(context.Context) (string, bool) { return "", false }
	}
	a.cache = newStudioCache(a)
	a.store = noting{o.Store, a.cache}
	a.studios = newStudios(a)
	a.glazes = newGlazes(a)
	a.materials = newMaterials(a)
	a.bodies = newBodies(a)
	a.firings = newFirings(a)
	a.wares = newWares(a)
	a.tiles = newTiles(a)
	a.sheets = newSheets(a)
	a.keys = newKeys(a)
	a.scores = &scores{api: a}
	a.calibrations = &calibrations{api: a}
	return a
}

// Watch keeps prepared studios up with what other servers write, until the context ends. Without it their changes are seen a little later.
func (a *API) Watch(ctx context.Context) { a.cache.watch(ctx) }

// Register adds every service to a server. Every method checks its request against the contract's limits first, and answers
// errors as toStatus says, whatever interceptors the server has or lacks.
func (a *API) Register(server grpc.ServiceRegistrar) {
	s := guarded{server, a}
	pb.RegisterStudioServiceServer(s, a.studios)
	pb.RegisterGlazeServiceServer(s, a.glazes)
	pb.RegisterMaterialServiceServer(s, a.materials)
	pb.RegisterBodyServiceServer(s, a.bodies)
	pb.RegisterFiringServiceServer(s, a.firings)
	pb.RegisterWareServiceServer(s, a.wares)
	pb.RegisterTileServiceServer(s, a.tiles)
	pb.RegisterSheetServiceServer(s, a.sheets)
	pb.RegisterKeyServiceServer(s, a.keys)
	pb.RegisterScoreServiceServer(s, a.scores)
	pb.RegisterCalibrationServiceServer(s, a.calibrations)
}

// guarded puts the check of the request and the mapping of errors around every method, innermost of all interceptors.
type guarded struct {
	to  grpc.ServiceRegistrar
	api *API
}

func (g guarded) RegisterService(desc *grpc.ServiceDesc, service any) {
	d := *desc
	d.Methods = make([]grpc.MethodDesc, len(desc.Methods))
	for i, m := range desc.Methods {
		d.Methods[i] = grpc.MethodDesc{MethodName: m.MethodName, Handler: g.unary(m.Handler)}
	}
	d.Streams = make([]grpc.StreamDesc, len(desc.Streams))
	for i, m := range desc.Streams {
		d.Streams[i] = m
		d.Streams[i].Handler = g.stream(m.Handler)
	}
	g.to.RegisterService(&d, service)
}

func (g guarded) unary(handler grpc.MethodHandler) grpc.MethodHandler {
	inner := func(ctx context.Context, request any, _ *grpc.UnaryServerInfo, next grpc.UnaryHandler) (any, error) {
		if err := check(request.(proto.Message)); err != nil {
			return nil, g.api.answer(ctx, err)
		}
		response, err := next(ctx, request)
		if err != nil {
			return nil, g.api.answer(ctx, err)
		}
		return response, nil
	}
	return func(service any, ctx context.Context, decode func(any) error, outer grpc.UnaryServerInterceptor) (any, error) {
		if outer == nil {
			return handler(service, ctx, decode, inner)
		}
		return handler(service, ctx, decode, func(ctx context.Context, request any, info *grpc.UnaryServerInfo, next grpc.UnaryHandler) (any, error) {
			return outer(ctx, request, info, func(ctx context.Context, request any) (any, error) {
				return inner(ctx, request, info, next)
			})
		})
	}
}

func (g guarded) stream(handler grpc.StreamHandler) grpc.StreamHandler {
	return func(service any, stream grpc.ServerStream) error {
		if err := handler(service, guardedStream{stream}); err != nil {
			return g.api.answer(stream.Context(), err)
		}
		return nil
	}
}

type guardedStream struct{ grpc.ServerStream }

func (s guardedStream) RecvMsg(m any) error {
	if err := s.ServerStream.RecvMsg(m); err != nil {
		return err
	}
	return check(m.(proto.Message))
}

// answer turns an error into what the caller gets, and logs the server's own troubles.
func (a *API) answer(ctx context.Context, err error) error {
	answer, ours := toStatus(err)
	if ours {
		a.log.ErrorContext(ctx, "a request failed", "error", err)
	}
	return answer
}
