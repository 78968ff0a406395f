package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"io"
	"log/slog"
	"net/http"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc"

	"github.com/catchline/catchline/client"
	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/config"
	"github.com/catchline/catchline/server/process"
	"github.com/catchline/catchline/testdata/demo"
)

func sheetText(t *testing.T, format string, plan *pb.SheetPlan, chunks []*pb.ScoreSheetResponse) string {
	t.Helper()
	var b bytes.Buffer
	out := bufio.NewWriter(&b)
	w := newSheetWriter(out, format, millimetres, plan)
	for _, c := range chunks {
		if err := w.write(c); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.end(); err != nil {
		t.Fatal(err)
	}
	out.Flush()
	return b.String()
}

// servers that tests share; they stop with the process of the tests.
var (
	sharedOnce sync.Once
	shared     *process.Program
	sharedErr  error
)

// startServer starts the very server, with the demo studio, on free ports.
func startServer(ctx context.Context, file string, change func(*config.Config)) (*process.Program, error) {
	c := config.Default()
	c.Limits.QueueTime, c.Limits.StandingQueueTime = 10*time.Second, 10*time.Second // whatever else runs on this machine
	c.Store, c.Create, c.Demo = config.Database(file), true, true
	c.GRPC.Address, c.HTTP.Address, c.Telemetry.MetricsAddress = "127.0.0.1:0", "127.0.0.1:0", ""
	if change != nil {
		change(&c)
	}
	p, err := process.Open(ctx, c, process.Options{
		Version: "test", Logger: slog.New(slog.DiscardHandler),
		Seed: func(ctx context.Context, conn grpc.ClientConnInterface) error {
			return demo.Seed(ctx, client.Over(conn))
		},
	})
	if err != nil {
		return nil, err
	}
	go p.Run(ctx)
	return p, nil
}

func TestMain(m *testing.M) {
	os.Exit(func() int {
		dir, err := os.MkdirTemp("", "catchline-test-")
		if err != nil {
			panic(err)
		}
		defer os.RemoveAll(dir)
		sharedFile = filepath.Join(dir, "shared.db")
		code := m.Run()
		if shared != nil {
			shared.Close()
		}
		return code
	}())
}

var sharedFile string

// server is the one with the demo studio that the tests share. A test that changes things makes a studio of its own.
func server(t *testing.T) *process.Program {
	t.Helper()
	sharedOnce.Do(func() { shared, sharedErr = startServer(context.Background(), sharedFile, nil) })
	if sharedErr != nil {
		t.Fatal(sharedErr)
	}
	return shared
}

// answer is what a command did.
type answer struct {
	code     int
	out, err string
}

// command runs a command with a standard input.
func command(t *testing.T, in string, args ...string) answer {
	t.Helper()
	var out, errs bytes.Buffer
	code := run(t.Context(), args, streams{strings.NewReader(in), &out, &errs})
	return answer{code, out.String(), errs.String()}
}

// on runs a command against the shared server.
func on(t *testing.T, args ...string) answer {
	t.Helper()
	return command(t, "", append([]string{"--server", server(t).GRPCAddress()}, args...)...)
}

// done is on for a command that has to succeed.
func done(t *testing.T, args ...string) string {
	t.Helper()
	a := on(t, args...)
	if a.code != exitDone {
		t.Fatalf("%q: exit code %d: %s", args, a.code, a.err)
	}
	return a.out
}

// file writes a file and gives its path.
func file(t *testing.T, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// tree reads JSON with its numbers as they are written.
func tree(t *testing.T, text string) map[string]any {
	t.Helper()
	d := json.NewDecoder(strings.NewReader(text))
	d.UseNumber()
	var v map[string]any
	if err := d.Decode(&v); err != nil {
		t.Fatalf("%v in %s", err, text)
	}
	return v
}

// The same question by gRPC, by HTTP and by the command line has the same answer, to the last digit of every number.
func TestThreeWaysAgree(t *testing.T) {
	byCommand := tree(t, done(t, "--format", "json", "score", "--layer", "skerry-blue/spring:2", "--layer", "Lintel Amber:1.5", "--method", "dip",
		"--body", "pale-stoneware", "--firing", "cone-6-hold", "--ware", "vase", "--band", "80", "--clearance", "55", "--tester", "tester one"))

	response, err := http.Post("http://"+server(t).HTTPAddress()+"/v1/studios/demo:score", "application/json", strings.NewReader(`{
		"layering": {"body": "studios/demo/bodies/pale-stoneware", "layers": [
			{"glaze": "studios/demo/glazes/skerry-blue", "lot": "studios/demo/glazes/skerry-blue/lots/spring", "coats": 2, "method": "APPLICATION_METHOD_DIP"},
			{"glaze": "studios/demo/glazes/lintel-amber", "coats": 1.5, "method": "APPLICATION_METHOD_DIP"}]},
		"firing": "studios/demo/firings/cone-6-hold", "tester": "tester one",
		"placement": {"ware": "studios/demo/wares/vase", "bandHeightMm": 80, "clearanceMm": 55}}`))
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	text, err := io.ReadAll(response.Body)
	if err != nil || response.StatusCode != http.StatusOK {
		t.Fatalf("%s: %s", response.Status, text)
	}
	byHTTP := tree(t, string(text))

	c, err := client.New(server(t).GRPCAddress(), client.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	band, clearance := 80.0, 55.0
	dip := pb.ApplicationMethod_APPLICATION_METHOD_DIP
	score, err := c.Scores.ScoreLayering(t.Context(), &pb.ScoreLayeringRequest{
		Parent: demo.Studio, Tester: "tester one",
		Layering: &pb.Layering{Body: "studios/demo/bodies/pale-stoneware", Layers: []*pb.Layer{
			{Glaze: "studios/demo/glazes/skerry-blue", Lot: "studios/demo/glazes/skerry-blue/lots/spring", Amount: &pb.Layer_Coats{Coats: 2}, Method: dip},
			{Glaze: "studios/demo/glazes/lintel-amber", Amount: &pb.Layer_Coats{Coats: 1.5}, Method: dip},
		}},
		FiringSource: &pb.ScoreLayeringRequest_Firing{Firing: "studios/demo/firings/cone-6-hold"},
		Placement:    &pb.Placement{Wall: &pb.Placement_Ware{Ware: "studios/demo/wares/vase"}, BandHeightMm: &band, ClearanceMm: &clearance},
	})
	if err != nil {
		t.Fatal(err)
	}
	message, err := asJSON(score)
	if err != nil {
		t.Fatal(err)
	}
	byGRPC := tree(t, string(message))

	if !reflect.DeepEqual(byCommand, byHTTP) {
		t.Errorf("command line and HTTP differ:\n%v\n%v", byCommand, byHTTP)
	}
	if !reflect.DeepEqual(byCommand, byGRPC) {
		t.Errorf("command line and gRPC differ:\n%v\n%v", byCommand, byGRPC)
	}
	if s, _ := byCommand["medianRunMm"].(json.Number); len(s) < 8 {
		t.Errorf("the median run is %q, which has too few digits to prove anything", s)
	}
}

func TestExitCodes(t *testing.T) {
	// A wall without a clearance: the risk is above any tolerated one; a metre of it: below.
	const blue = "--layer=skerry-blue:4"
	for _, c := range []struct {
		args []string
		code int
		says string // on standard error
	}{
		{[]string{"score", blue, "--firing=cone-6"}, exitDone, ""},
		{[]string{"score", blue, "--firing=cone-6", "--clearance=0", "--strict"}, exitRisk, ""},
		{[]string{"score", "--layer=quern-matte:0.5", "--firing=cone-5", "--clearance=2000", "--strict"}, exitDone, ""},
		{[]string{"score", "--firing=cone-6"}, exitInput, "--layer"},
		{[]string{"score", blue}, exitInput, "--firing"},
		{[]string{"score", blue, "--firing=cone-6", "--hold=20"}, exitInput, "--firing"},
		{[]string{"score", "--layer=skerry-blue:much", "--firing=cone-6"}, exitInput, `"skerry-blue:much"`},
		{[]string{"score", "--layer=skerry-blue:0", "--firing=cone-6"}, exitInput, "coats is 0; allowed: more than 0"},
		{[]string{"score", blue, "--cone=77"}, exitInput, `"77"`},
		{[]string{"score", blue, "--firing=cone-6", "--band=wide"}, exitInput, "--band"},
		{[]string{"score", blue, "--firing=cone-6", "--lot=tarn-clear/x"}, exitInput, "--lot"},
		{[]string{"score", "--layer=no-such-glaze", "--firing=cone-6"}, exitNotFound, "studios/demo/glazes/no-such-glaze"},
		{[]string{"score", "--layer=No Such Glaze", "--firing=cone-6"}, exitNotFound, "No Such Glaze"},
		{[]string{"--studio=nowhere", "glaze", "show", "x"}, exitNotFound, "studios/nowhere"},
		{[]string{"sheet", "--under=*-nothing", "--firing=cone-6"}, exitInput, "matches none"},
		{[]string{"sheet", "--under=*", "--firing=cone-6", "--clearance=0", "--strict", "--format=csv"}, exitRisk, ""},
		{[]string{"shelf", "/nowhere/load.json"}, exitInput, "/nowhere/load.json"},
		{[]string{"tile", "log", blue, "--firing=cone-6"}, exitInput, "--run"},
		{[]string{"tile", "log", blue, "--firing=cone-6", "--run=3", "--ran-off"}, exitInput, "--run"},
		{[]string{"nonsense"}, exitInput, "nonsense"},
		{[]string{"--format=xml", "glaze", "list"}, exitInput, "--format"},
		{[]string{"--db=x.db", "glaze", "list"}, exitInput, "--embedded"},
	} {
		a := on(t, c.args...)
		if a.code != c.code {
			t.Errorf("%q: exit code %d, want %d: %s", c.args, a.code, c.code, a.err)
		}
		if c.says != "" && !strings.Contains(a.err, c.says) {
			t.Errorf("%q says %q, which lacks %q", c.args, a.err, c.says)
		}
		if strings.Contains(a.err, "rpc error") {
			t.Errorf("%q says %q, which is no sentence", c.args, a.err)
		}
	}
	// Port 1 on this machine serves nothing.
	if a := command(t, "", "--server=127.0.0.1:1", "glaze", "list"); a.code != exitUnavailable || !strings.Contains(a.err, "--server") {
		t.Errorf("without a server: exit code %d: %s", a.code, a.err)
	}
	if a := command(t, "", "--server=127.0.0.1:1", "--wait=50ms", "glaze", "list"); a.code != exitUnavailable || !strings.Contains(a.err, "--server") {
		t.Errorf("waiting for a server: exit code %d: %s", a.code, a.err)
	}
	if a := command(t, "", "--server=studio.example:7400", "glaze", "list"); a.code != exitInput || !strings.Contains(a.err, "--tls") {
		t.Errorf("another machine without TLS: exit code %d: %s", a.code, a.err)
	}
}

func TestHelpOfEveryCommand(t *testing.T) {
	for _, args := range [][]string{{}, {"score"}, {"sheet"}, {"sheet", "score"}, {"tile", "log"}, {"melt"}, {"lot", "compare"}, {"keys", "create"}} {
		a := command(t, "", append(args, "--help")...)
		if a.code != exitDone || !strings.Contains(a.out, "Usage: catchline") {
			t.Errorf("%q --help: exit code %d: %s", args, a.code, a.out)
		}
	}
}

// Every score of a sheet is the score of its layering alone.
func TestSheetIsTheScoresOfItsLayerings(t *testing.T) {
	text := done(t, "--format=csv", "sheet", "--under=tarn-clear:3,skerry-*", "--over=lintel-amber/bucket-2:1", "--firing=cone-6-h*,cone-5", "--clearance=1in")
	rows, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) != 1+2*2 {
		t.Fatalf("%d lines, want a header and 4 scores:\n%s", len(rows), text)
	}
	column := map[string]int{}
	for i, h := range rows[0] {
		column[h] = i
	}
	for _, row := range rows[1:] {
		cell := func(name string) string { return row[column[name]] }
		alone := tree(t, done(t, "--format=json", "score", "--layer="+cell("layer1")+":"+cell("layer1_amount"), "--layer="+cell("layer2")+":"+cell("layer2_amount"),
			"--firing="+cell("firing"), "--clearance=25.4"))
		for name, field := range map[string]string{"median_run_mm": "medianRunMm", "run_p10_mm": "runP10Mm", "run_p90_mm": "runP90Mm", "exceed_probability": "exceedProbability", "clearance_needed_mm": "clearanceNeededMm"} {
			want, err := alone[field].(json.Number).Float64()
			if err != nil {
				t.Fatal(err)
			}
			got, err := strconv.ParseFloat(cell(name), 32)
			if err != nil || float32(got) != float32(want) { // a sheet carries single precision
				t.Errorf("%s: %s is %s, alone %v", row, name, cell(name), want)
			}
		}
		if want := "RISK_" + strings.ToUpper(cell("risk")); alone["risk"] != want {
			t.Errorf("%s: risk %s, alone %v", row, want, alone["risk"])
		}
	}
}

func TestSheetsFromFilesAndStore(t *testing.T) {
	stored := done(t, "--format=csv", "sheet", "--stored=cone-6-pairs")
	if n := strings.Count(stored, "\n"); n != 1+162 {
		t.Errorf("the stored sheet has %d lines, want 163", n)
	}
	sheets, err := os.ReadFile("../../../testdata/demo/sheets.json")
	if err != nil {
		t.Fatal(err)
	}
	one := strings.TrimSuffix(strings.TrimPrefix(strings.TrimSpace(string(sheets)), "["), "]")
	if fromFile := done(t, "--format=csv", "sheet", file(t, "sheet.json", one)); fromFile != stored {
		t.Error("the sheet from its file differs from the stored one")
	}
	choices := file(t, "choices.csv", "position,glaze,lot,amount,method\n1,Skerry Blue,spring,3,dip\n2,tarn-clear,,450um,\n2,lintel-amber,,,\n")
	got := done(t, "--format=csv", "sheet", choices, "--firing=cone-6")
	flags := done(t, "--format=csv", "sheet", "--under=skerry-blue/spring:3", "--over=tarn-clear:450um,lintel-amber", "--method=dip", "--firing=cone-6")
	if strings.Count(got, "\n") != 3 || !strings.Contains(got, "cone-6,skerry-blue/spring,3,tarn-clear,450um,") {
		t.Errorf("from a CSV of choices:\n%s", got)
	}
	if a, b := strings.Split(got, "\n")[1], strings.Split(flags, "\n")[1]; a != b { // the method matters to coats alone
		t.Errorf("by file %s, by flags %s", a, b)
	}
	for text, says := range map[string]string{
		"position,glaze\n9,tarn-clear\n":            `line 2: position is "9"`,
		"position,glaze\n1,tarn-clear:lots\n":       "line 2",
		"position,glaze,colour\n1,tarn-clear,x\n":   `"colour"`,
		"position,glaze,method\n1,tarn-clear,pat\n": `method is "pat"`,
	} {
		if a := on(t, "sheet", file(t, "bad.csv", text), "--firing=cone-6"); a.code != exitInput || !strings.Contains(a.err, says) {
			t.Errorf("%q: exit code %d: %s, want %q", text, a.code, a.err, says)
		}
	}
}

func TestProgressWhereItIsAskedFor(t *testing.T) {
	args := []string{"--format=csv", "sheet", "--under=tarn-clear", "--over=tarn-clear", "--firing=cone-6"}
	if a := on(t, args...); strings.Contains(a.err, "scored") {
		t.Errorf("progress without asking: %s", a.err)
	}
	if a := on(t, append([]string{"--progress"}, args...)...); !strings.Contains(a.err, "scored 1 of 1\n") {
		t.Errorf("no progress: %s", a.err)
	}
}

func TestShelfAsPageAndTable(t *testing.T) {
	page := done(t, "shelf", "../../../testdata/demo/shelf.json", "--html", "--units=in")
	text := done(t, "shelf", "../../../testdata/demo/shelf.json")
	for _, label := range []string{"Vases, amber over blue shoulder", "Mugs, three layers"} {
		if !strings.Contains(page, label) || !strings.Contains(text, label) {
			t.Errorf("the plan lacks %q", label)
		}
	}
	if !strings.Contains(page, " in)") || !strings.Contains(page, "Take care") || !strings.Contains(text, "Cookies to make") {
		t.Error("the plan lacks a length, a caution or the cookies")
	}
	const unknown = "Less sure: Layer 2 is of unknown chemistry"
	if csv := on(t, "--format=csv", "shelf", "../../../testdata/demo/shelf.json"); !strings.Contains(page, unknown) || !strings.Contains(text, unknown) ||
		!strings.Contains(csv.err, "Less sure: Bowls, unmarked jar over plum: Layer 2 is of unknown chemistry") {
		t.Errorf("the plan is surer than it may be; with CSV: %s", csv.err)
	}
	bad := strings.Replace(string(demo.Shelf), `"label": "Mugs, three layers"`, `"label": "<script>alert(1)</script>"`, 1)
	if page := done(t, "shelf", file(t, "load.json", bad), "--html"); strings.Contains(page, "<script>") {
		t.Error("a label gets into the page unescaped")
	}
}

func TestDrawAndAdvise(t *testing.T) {
	out := filepath.Join(t.TempDir(), "vase.svg")
	question := []string{"--layer=tarn-clear:4", "--layer=skerry-blue:4", "--firing=cone-6-hold", "--ware=vase", "--band=90", "--clearance=30"}
	done(t, append([]string{"draw", "-o", out}, question...)...)
	if text, err := os.ReadFile(out); err != nil || !strings.Contains(string(text), "<svg") {
		t.Errorf("no picture: %v", err)
	}
	if text := done(t, append([]string{"advise", "--allow=raise-band"}, question...)...); !strings.Contains(text, "higher") {
		t.Errorf("no advice:\n%s", text)
	}
	if a := on(t, append([]string{"advise", "--allow=pray"}, question...)...); a.code != exitInput || !strings.Contains(a.err, "pray") {
		t.Errorf("exit code %d: %s", a.code, a.err)
	}
}

// Every kind of thing is made, seen, changed, listed and deleted.
func TestThingsOfAStudio(t *testing.T) {
	done(t, "studio", "create", "things", "--call=Things (invented)")
	in := func(args ...string) []string { return append([]string{"--studio=things"}, args...) }
	recipe := `{"recipe": {"ingredients": [{"material": "orthoclase", "amount": 60}, {"material": "calcite", "amount": 20}, {"material": "quartz", "amount": 20}]}, "coneFrom": "9"}`
	for _, c := range []struct{ noun, id, json, change, field string }{
		{"material", "clay", `{"displayName": "Clay", "oxidesPercent": {"SiO2": 60, "Al2O3": 30}}`, `{"source": "dug"}`, "source: dug"},
		{"glaze", "white", `{"displayName": "White", ` + recipe[1:], `{"surface": "SURFACE_MATTE"}`, "surface: matte"},
		{"body", "buff", `{"displayName": "Buff"}`, `{"bisqueAbsorptionPercent": 12}`, "bisque absorption percent: 12"},
		{"firing", "nine", `{"displayName": "Nine", "plan": {"cone": {"cone": "9"}}}`, `{"kiln": "old"}`, "kiln: old"},
		{"ware", "cup", `{"displayName": "Cup", "shape": {"cylinder": {"heightMm": 90, "diameterMm": 80}}}`, `{"value": 12}`, "value: 12"},
		{"sheet", "solo", `{"displayName": "Solo", "plan": {"positions": [{"choices": [{"glaze": "white"}]}], "firings": ["nine"]}}`, `{"displayName": "Alone"}`, "display name: Alone"},
	} {
		created := done(t, in(c.noun, "create", c.id, "--file", file(t, "new.json", c.json))...)
		if !strings.Contains(created, "/"+c.id+"\n") {
			t.Errorf("%s: created\n%s", c.noun, created)
		}
		if changed := done(t, in(c.noun, "update", c.id, "--file", file(t, "change.json", c.change))...); !strings.Contains(changed, c.field) {
			t.Errorf("%s: %s did not become\n%s", c.noun, c.field, changed)
		}
		if shown := tree(t, done(t, in("--format=json", c.noun, "show", c.id)...)); !strings.HasSuffix(shown["name"].(string), "/"+c.id) {
			t.Errorf("%s: shown %v", c.noun, shown)
		}
		if list := done(t, in("--format=csv", c.noun, "list")...); !regexp.MustCompile(`(?m)^` + c.id + `,`).MatchString(list) {
			t.Errorf("%s: the list lacks it:\n%s", c.noun, list)
		}
		if a := on(t, in(c.noun, "delete", c.id, "--etag=0")...); a.code != exitFailed {
			t.Errorf("%s: deleted with a wrong etag: exit code %d", c.noun, a.code)
		}
	}
	done(t, in("lot", "create", "white", "bucket-9", "--call=Bucket 9")...)
	if lots := done(t, in("--format=csv", "lot", "list", "White")...); !strings.Contains(lots, "white/bucket-9,Bucket 9,") {
		t.Errorf("lots:\n%s", lots)
	}
	done(t, in("lot", "delete", "white/bucket-9")...)
	for _, thing := range [][]string{{"sheet", "solo"}, {"ware", "cup"}, {"firing", "nine"}, {"body", "buff"}, {"glaze", "white"}, {"material", "clay"}} {
		done(t, in(thing[0], "delete", thing[1])...)
		if a := on(t, in(thing[0], "show", thing[1])...); a.code != exitNotFound {
			t.Errorf("%q is still there: exit code %d", thing, a.code)
		}
	}
	if a := on(t, in("glaze", "create", "--file", file(t, "bad.json", `{"displayName": "X", "colour": "red"}`))...); a.code != exitInput || !strings.Contains(a.err, "colour") || strings.Contains(a.err, "proto") {
		t.Errorf("an unknown field: exit code %d: %s", a.code, a.err)
	}
	if a := on(t, in("glaze", "create", "--file", file(t, "empty.json", "\n"))...); a.code != exitInput || !strings.Contains(a.err, "it is empty") {
		t.Errorf("an empty file: exit code %d: %s", a.code, a.err)
	}
	if a := on(t, in("glaze", "create", "--file", file(t, "bad.json", `{"displayName": "X", "recipe": {"ingredients": [{"material": "moon dust", "amount": 1}]}}`))...); a.code != exitInput || !strings.Contains(a.err, "moon dust") {
		t.Errorf("an unknown material: exit code %d: %s", a.code, a.err)
	}
	done(t, "studio", "delete", "things")
}

func TestLookingIntoThings(t *testing.T) {
	melt := done(t, "--format=csv", "glaze", "melt", "lintel-amber", "--from=1000", "--to=1200", "--points=3", "--atmosphere=medium-reduction")
	if !regexp.MustCompile(`(?m)^1000,[^\n]*\n1100,[^\n]*\n1200,`).MatchString(melt) {
		t.Errorf("curve:\n%s", melt)
	}
	if text := done(t, "glaze", "melt", "lintel-amber/bucket-2"); !strings.Contains(text, "ferrous") {
		t.Errorf("melt of a lot:\n%s", text)
	}
	if a := on(t, "glaze", "melt"); a.code != exitInput {
		t.Errorf("no melt: exit code %d", a.code)
	}
	if text := done(t, "firing", "preview", "--cone=6", "--hold=30"); !strings.Contains(text, "Comes to cone ") {
		t.Errorf("preview:\n%s", text)
	}
	// A cylinder's wall is as long as it is high.
	wall := file(t, "wall.csv", "height_mm,radius_mm\n0,40\n50,40\n120,40\n")
	out := filepath.Join(t.TempDir(), "ware.json")
	if text := done(t, "ware", "trace", wall, "-o", out, "--call=Tube (invented)"); !strings.Contains(text, "120 mm of wall") {
		t.Errorf("trace:\n%s", text)
	}
	if text := done(t, "ware", "create", "tube", "--file", out); !strings.Contains(text, "wall length mm: 120") {
		t.Errorf("made of the trace:\n%s", text)
	}
	done(t, "ware", "delete", "tube")
	if text := done(t, "ware", "trace", file(t, "path", "M 10 0 L 10 -60"), "--scale=2", "--axis=0"); !strings.Contains(text, "120 mm of wall") {
		t.Errorf("trace of a path:\n%s", text)
	}
}

func TestTilesInAndOut(t *testing.T) {
	done(t, "studio", "create", "log", "--call=Log (invented)")
	in := func(args ...string) []string { return append([]string{"--studio=log"}, args...) }
	done(t, in("glaze", "create", "jar", "--file", file(t, "jar.json", `{"displayName": "Jar", "described": {"behaviour": "BEHAVIOUR_MOBILE"}, "coneFrom": "6"}`))...)
	done(t, in("firing", "create", "six", "--file", file(t, "six.json", `{"displayName": "Six", "plan": {"cone": {"cone": "6"}}}`))...)
	log := in("tile", "log", "--layer=jar:2", "--firing=six", "--date=2026-05-01", "--tester=t")
	for _, outcome := range []string{"--run=0.5in", "--between=10..15", "--ran-off", "--did-not-move"} {
		done(t, append(log, outcome)...)
	}
	if list := done(t, in("tile", "list")...); strings.Count(list, "\n") != 5 || !strings.Contains(list, "ran 12.7 mm") || !strings.Contains(list, "ran 10.0 to 15.0 mm") {
		t.Errorf("list:\n%s", list)
	}
	if one := done(t, in("--format=csv", "tile", "list", "--most=1", "--glaze=Jar")...); strings.Count(one, "\n") != 2 || !strings.Contains(one, "did not move") {
		t.Errorf("the last one:\n%s", one)
	}
	exported := done(t, in("tile", "export")...)
	if got := done(t, in("tile", "import", file(t, "tiles.csv", exported))...); got != "4 tiles logged.\n" {
		t.Errorf("import says %q", got)
	}
	twice := done(t, in("tile", "export")...)
	lines := strings.SplitAfter(exported, "\n")
	if want := exported + strings.Join(lines[1:], ""); twice != want {
		t.Errorf("exported\n%s\nwant\n%s", twice, want)
	}
	bad := "firing,layer1_glaze,outcome,run_mm\nsix,jar,run,5\nsix,bottle,run,5\nsix,jar,run,-2\n"
	if a := on(t, in("tile", "import", file(t, "bad.csv", bad))...); a.code != exitInput || !strings.Contains(a.err, "line 3") || !strings.Contains(a.err, "line 4") || !strings.Contains(a.out, "0 tiles") {
		t.Errorf("exit code %d: %s%s", a.code, a.out, a.err)
	}
	latin1 := "firing,layer1_glaze,outcome,notes\nsix,jar,stayed,gr\xfcn\n"
	if a := on(t, in("tile", "import", file(t, "latin1.csv", latin1))...); a.code != exitInput || !strings.Contains(a.err, `latin1.csv, line 2: "six,jar,stayed,gr\xfcn" is not UTF-8`) {
		t.Errorf("not UTF-8: exit code %d: %s%s", a.code, a.out, a.err)
	}
	if a := on(t, in("tile", "import", "--keep-good-lines", file(t, "bad.csv", bad))...); a.code != exitInput || !strings.Contains(a.out, "1 tile logged") {
		t.Errorf("keeping good lines: exit code %d: %s%s", a.code, a.out, a.err)
	}
	if fitted := done(t, in("fit")...); !strings.Contains(fitted, "Calibration 1 of 9 tiles") {
		t.Errorf("fit:\n%s", fitted)
	}
	done(t, in("fit")...)
	done(t, in("activate", "1")...)
	if list := done(t, in("--format=csv", "calibrations")...); !regexp.MustCompile(`(?m)^1,yes,9,`).MatchString(list) {
		t.Errorf("calibrations:\n%s", list)
	}
	if record := done(t, in("record")...); !strings.Contains(record, "All tiles") {
		t.Errorf("record:\n%s", record)
	}
	done(t, in("studio", "delete", "log", "--force")...)
}

func TestMeltPassesColumnsThrough(t *testing.T) {
	// Soda-lime glass of round numbers, invented.
	const in = "sample,SiO2,Na2O,CaO,T_K,remark\nfirst,0.74,0.16,0.10,1500,\"a, b\"\nsecond,0.74,0.16,0.10,1300,\n"
	a := command(t, in, "--embedded", "melt", "--in=-", "--out=-")
	if a.code != exitDone {
		t.Fatalf("exit code %d: %s", a.code, a.err)
	}
	rows, err := csv.NewReader(strings.NewReader(a.out)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if got, want := strings.Join(rows[0], ","), "sample,SiO2,Na2O,CaO,T_K,remark,log10_eta_pred,log10_eta_sd"; got != want {
		t.Errorf("header %s, want %s", got, want)
	}
	if got, want := rows[1][:6], []string{"first", "0.74", "0.16", "0.10", "1500", "a, b"}; !reflect.DeepEqual(got, want) {
		t.Errorf("first line %q, want %q", got, want)
	}
	hot, _ := strconv.ParseFloat(rows[1][6], 64)
	cool, _ := strconv.ParseFloat(rows[2][6], 64)
	sd, _ := strconv.ParseFloat(rows[1][7], 64)
	if !(hot < cool) || !(sd > 0) {
		t.Errorf("log10 viscosity %v at 1500 K, %v at 1300 K, deviation %v", hot, cool, sd)
	}
	byServer := command(t, in, "--server", server(t).GRPCAddress(), "melt", "--in=-", "--out=-")
	if byServer.out != a.out {
		t.Errorf("by server\n%s\nembedded\n%s", byServer.out, a.out)
	}
	// As a spreadsheet may write it: with a byte order mark.
	if marked := command(t, "\ufeff"+in, "--embedded", "melt", "--in=-"); marked.out != a.out || marked.code != exitDone {
		t.Errorf("with a byte order mark: exit code %d: %s\n%s", marked.code, marked.err, marked.out)
	}
	oxideFirst := "\ufeff\"SiO2\",Na2O,T_K\r\n0.8,0.2,1500\r\n"
	if marked := command(t, oxideFirst, "--embedded", "melt", "--in=-"); !strings.HasPrefix(marked.out, "SiO2,Na2O,T_K,log10_eta_pred,") {
		t.Errorf("an oxide after a byte order mark: exit code %d: %s\n%s", marked.code, marked.err, marked.out)
	}
	for text, says := range map[string]string{
		"SiO2,Na2O\n0.8,0.2\n":                         "T_K",
		"T_K,remark\n1500,x\n":                         "oxide",
		"SiO2,Na2O,T_K\n0.8,0.2,warm\n":                `line 2: T_K is "warm"`,
		"SiO2,Na2O,T_K\n0.8,0.2,1500\n0.8,0.1,1500\n":  "line 3",
		"SiO2,Na2O,T_K\n0.8,0.2,1500\n0.8,0.2,15000\n": "line 3",
		"SiO2,SiO2,T_K\n0.8,0.2,1500\n":                "twice",
	} {
		if a := command(t, text, "--embedded", "melt", "--in=-"); a.code != exitInput || !strings.Contains(a.err, says) {
			t.Errorf("%q: exit code %d: %s, want %q", text, a.code, a.err, says)
		}
	}
}

func TestEmbeddedKeepsItsFile(t *testing.T) {
	db := filepath.Join(t.TempDir(), "mine.db")
	if a := command(t, "", "--embedded", "--db", db, "studio", "create", "mine", "--call=Mine"); a.code != exitDone {
		t.Fatalf("exit code %d: %s", a.code, a.err)
	}
	if a := command(t, "", "--embedded", "--db", db, "studio", "list"); a.code != exitDone || !strings.Contains(a.out, "Mine") {
		t.Errorf("exit code %d: %s%s", a.code, a.out, a.err)
	}
	if a := command(t, "", "--embedded", "studio", "list"); a.code != exitDone || strings.Contains(a.out, "Mine") {
		t.Errorf("without a file: exit code %d: %s%s", a.code, a.out, a.err)
	}
}

// The key opens the door and shows up nowhere.
func TestKeys(t *testing.T) {
	const operator = "an operator's key that is long enough to be one"
	p, err := startServer(t.Context(), filepath.Join(t.TempDir(), "keys.db"), func(c *config.Config) { c.Keys.OperatorKey = config.NewSecret(operator) })
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { p.Close() })
	with := func(key string, args ...string) answer {
		return command(t, "", append([]string{"--server", p.GRPCAddress(), "--key-file", file(t, "key", key+"\n")}, args...)...)
	}
	if a := command(t, "", "--server", p.GRPCAddress(), "glaze", "list"); a.code != exitFailed || !strings.Contains(a.err, "CATCHLINE_KEY") {
		t.Errorf("without a key: exit code %d: %s", a.code, a.err)
	}
	made := with(operator, "keys", "create", "front desk", "--role=view", "--lasts=720h")
	if made.code != exitDone {
		t.Fatalf("exit code %d: %s", made.code, made.err)
	}
	desk := strings.TrimSpace(made.out)
	if a := with(desk, "glaze", "list"); a.code != exitDone {
		t.Errorf("by the key that was made: exit code %d: %s", a.code, a.err)
	}
	denied := with(desk, "body", "create", "--call=Clay")
	if denied.code != exitFailed || !strings.Contains(denied.err, "view") {
		t.Errorf("beyond its role: exit code %d: %s", denied.code, denied.err)
	}
	list := with(operator, "--format=csv", "keys", "list")
	rows := strings.Split(list.out, "\n")
	if len(rows) < 2 || !strings.Contains(rows[1], "front desk,view,") {
		t.Fatalf("keys:\n%s%s", list.out, list.err)
	}
	id, _, _ := strings.Cut(rows[1], ",")
	if a := with(operator, "keys", "delete", id); a.code != exitDone {
		t.Errorf("exit code %d: %s", a.code, a.err)
	}
	if a := with(desk, "glaze", "list"); a.code != exitFailed {
		t.Errorf("by a key that was revoked: exit code %d", a.code)
	}
	t.Setenv("CATCHLINE_KEY", operator)
	for _, args := range [][]string{{"--help"}, {"score", "--help"}, {"--format=xml"}, {"--server", p.GRPCAddress(), "studio", "list"}} {
		if a := command(t, "", args...); strings.Contains(a.out+a.err, operator) {
			t.Errorf("%q shows the key", args)
		}
	}
}
