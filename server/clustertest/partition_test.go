package clustertest

import (
	"context"
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"

	"github.com/catchline/catchline/client"
	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/testdata/demo"
)

// The tables split by studio, as the deployment notes have it, serve as whole ones do.
func TestPartitionedTables(t *testing.T) {
	database := migrated(t)
	kept := dial(t, client.Options{}, start(t, settings(database)))
	if err := demo.Create(t.Context(), kept); err != nil {
		t.Fatal(err)
	}
	script, err := os.ReadFile("../deploy/partition.sql")
	if err != nil {
		t.Fatal(err)
	}
	db, err := pgx.Connect(t.Context(), database)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close(context.Background())
	if _, err := db.Exec(t.Context(), string(script)); err != nil {
		t.Fatal(err)
	}

	one := dial(t, client.Options{}, start(t, settings(database)))
	for i := range 20 {
		if err := demo.Create(t.Context(), client.Over(renamed{one.Conn, fmt.Sprintf("d%03d", i)})); err != nil {
			t.Fatal(err)
		}
	}
	if got := scoreOf(t, one, demo.Studio+"/glazes/tarn-clear"); got.MedianRunMm <= 0 {
		t.Errorf("what was there before: %v", got)
	}
	if _, err := one.Studios.DeleteStudio(t.Context(), &pb.DeleteStudioRequest{Name: "studios/d000", Force: true}); err != nil {
		t.Fatal(err)
	}
	var parts, rows, left int
	if err := db.QueryRow(t.Context(), `SELECT count(DISTINCT tableoid), count(*), count(*) FILTER (WHERE studio = 'd000') FROM record`).Scan(&parts, &rows, &left); err != nil {
		t.Fatal(err)
	}
	if parts < 8 || left != 0 {
		t.Errorf("%d records in %d parts; %d of the studio that was deleted", rows, parts, left)
	}
	// A studio is looked for in one part only.
	var plan string
	if err := db.QueryRow(t.Context(), `EXPLAIN (FORMAT JSON) SELECT data FROM record WHERE studio = 'demo' AND kind = 'glaze' AND parent = '' AND id = 'x'`).Scan(&plan); err != nil {
		t.Fatal(err)
	}
	if strings.Count(plan, `"Relation Name"`) != 1 {
		t.Error(plan)
	}
}
