// Package demo is an invented studio: glazes, lots, a material, bodies, firings, wares, a sheet, a kiln load and a log of tiles.
//
// Nothing in it comes from a real studio, glaze, product or person. The tiles are simulated by the program in
// generate, which knows a truth that the files do not tell. The files are examples of what the service takes: the JSON files hold the
// contract's messages, the CSV is in the form of an import.
package demo

import (
	"context"
	_ "embed"
	"encoding/json"
	"fmt"
	"strings"

	"golang.org/x/sync/errgroup"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"github.com/catchline/catchline/client"
	pb "github.com/catchline/catchline/proto/catchline/v1"
)

// Studio is the resource name of the demo studio.
const Studio = "studios/demo"

var (
	//go:embed studio.json
	studioJSON []byte
	//go:embed materials.json
	materialsJSON []byte
	//go:embed glazes.json
	glazesJSON []byte
	//go:embed lots.json
	lotsJSON []byte
	//go:embed bodies.json
	bodiesJSON []byte
	//go:embed firings.json
	firingsJSON []byte
	//go:embed wares.json
	waresJSON []byte
	//go:embed sheets.json
	sheetsJSON []byte

	// Shelf is a kiln load of 20 pieces as the JSON of a PlanShelfRequest without its parent.
	//go:embed shelf.json
	Shelf []byte

	// Tiles is the log in the form of an import.
	//go:embed tiles.csv
	Tiles string
)

// Seed loads the studio through the contract, logs its tiles and fits a calibration. A studio that is there with a calibration in use is left
// as it is, whatever has become of it; one whose loading was broken off is finished.
func Seed(ctx context.Context, c *client.Client) error {
	studio, err := c.Studios.GetStudio(ctx, &pb.GetStudioRequest{Name: Studio})
	if err == nil && studio.ActiveCalibration != "" {
		return nil
	}
	if err != nil && status.Code(err) != codes.NotFound {
		return err
	}
	if err := Create(ctx, c); err != nil {
		return err
	}
	answer, err := c.Tiles.ImportTiles(ctx, &pb.ImportTilesRequest{Parent: Studio, Csv: Tiles, RequestId: request(Studio + "/tiles")})
	if err != nil {
		return fmt.Errorf("logging the tiles: %w", err)
	}
	if len(answer.Faults) > 0 {
		f := answer.Faults[0]
		return fmt.Errorf("logging the tiles: line %d: %s", f.Line, f.Sentence)
	}
	if _, err := c.Calibrations.FitCalibration(ctx, &pb.FitCalibrationRequest{Parent: Studio}); err != nil {
		return fmt.Errorf("fitting: %w", err)
	}
	return nil
}

// Create stores the studio and what is in it, but no tile. What is there already is left as it is.
func Create(ctx context.Context, c *client.Client) error {
	studio := &pb.Studio{}
	if err := protojson.Unmarshal(studioJSON, studio); err != nil {
		return fmt.Errorf("studio.json: %w", err)
	}
	_, err := c.Studios.CreateStudio(ctx, &pb.CreateStudioRequest{StudioId: id(studio.Name), Studio: studio, RequestId: request(studio.Name)})
	if err := unlessThere(err); err != nil {
		return err
	}
	// Glazes need the materials, lots the glazes, sheets the glazes and firings. What does not need each other is stored at once,
	// so that it shares a commit.
	steps := [][]func(*errgroup.Group) error{
		{
			each(materialsJSON, func(m *pb.Material) error {
				_, err := c.Materials.CreateMaterial(ctx, &pb.CreateMaterialRequest{Parent: Studio, MaterialId: id(m.Name), Material: m, RequestId: request(m.Name)})
				return err
			}),
			each(bodiesJSON, func(b *pb.Body) error {
				_, err := c.Bodies.CreateBody(ctx, &pb.CreateBodyRequest{Parent: Studio, BodyId: id(b.Name), Body: b, RequestId: request(b.Name)})
				return err
			}),
			each(firingsJSON, func(f *pb.Firing) error {
				_, err := c.Firings.CreateFiring(ctx, &pb.CreateFiringRequest{Parent: Studio, FiringId: id(f.Name), Firing: f, RequestId: request(f.Name)})
				return err
			}),
			each(waresJSON, func(w *pb.Ware) error {
				_, err := c.Wares.CreateWare(ctx, &pb.CreateWareRequest{Parent: Studio, WareId: id(w.Name), Ware: w, RequestId: request(w.Name)})
				return err
			}),
		},
		{each(glazesJSON, func(g *pb.Glaze) error {
			_, err := c.Glazes.CreateGlaze(ctx, &pb.CreateGlazeRequest{Parent: Studio, GlazeId: id(g.Name), Glaze: g, RequestId: request(g.Name)})
			return err
		})},
		{
			each(lotsJSON, func(l *pb.Lot) error {
				_, err := c.Glazes.CreateLot(ctx, &pb.CreateLotRequest{Parent: parent(l.Name), LotId: id(l.Name), Lot: l, RequestId: request(l.Name)})
				return err
			}),
			each(sheetsJSON, func(s *pb.Sheet) error {
				_, err := c.Sheets.CreateSheet(ctx, &pb.CreateSheetRequest{Parent: Studio, SheetId: id(s.Name), Sheet: s, RequestId: request(s.Name)})
				return err
			}),
		},
	}
	for _, step := range steps {
		var group errgroup.Group
		for _, start := range step {
			if err := start(&group); err != nil {
				return err
			}
		}
		if err := group.Wait(); err != nil {
			return err
		}
	}
	return nil
}

// each reads a list of messages, and creates all of them at once.
func each[T any, M interface {
	*T
	proto.Message
	GetName() string
}](list []byte, create func(M) error) func(*errgroup.Group) error {
	return func(group *errgroup.Group) error {
		var texts []json.RawMessage
		if err := json.Unmarshal(list, &texts); err != nil {
			return err
		}
		for _, text := range texts {
			m := M(new(T))
			if err := protojson.Unmarshal(text, m); err != nil {
				return err
			}
			group.Go(func() error {
				if err := unlessThere(create(m)); err != nil {
					return fmt.Errorf("%s: %w", m.GetName(), err)
				}
				return nil
			})
		}
		return nil
	}
}

func unlessThere(err error) error {
	if status.Code(err) == codes.AlreadyExists {
		return nil
	}
	return err
}

// request is a request id that stays the same, so that what is done already is not done twice.
func request(name string) string { return "demo " + strings.TrimPrefix(name, Studio) }

// id is the last part of a resource name, parent what it belongs to.
func id(name string) string { return name[strings.LastIndex(name, "/")+1:] }

func parent(name string) string {
	parts := strings.Split(name, "/")
	return strings.Join(parts[:len(parts)-2], "/")
}
