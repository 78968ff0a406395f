package firing_test

import (
	"encoding/csv"
	"errors"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"github.com/catchline/catchline/model/fault"
	"github.com/catchline/catchline/model/firing"
)

// table reads a CSV as one map of column to cell a row.
func table(t rapid.TB, path string) []map[string]string {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []map[string]string
	for _, row := range rows[1:] {
		m := map[string]string{}
		for i, cell := range row {
			m[rows[0][i]] = cell
		}
		out = append(out, m)
	}
	if len(out) == 0 {
		t.Fatalf("%s is empty", path)
	}
	return out
}

func float(t rapid.TB, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func near(t rapid.TB, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.6g, want %.6g ± %g", what, got, want, tolerance)
	}
}

// wantField checks that err names the field and says what is wanted.
func wantField(t rapid.TB, err error, field, says string) {
	t.Helper()
	var fe *fault.Error
	if !errors.As(err, &fe) {
		t.Fatalf("got %v, want a fault.Error of %s", err, field)
	}
	if fe.Field != field || !strings.Contains(err.Error(), says) {
		t.Errorf("got %q, want field %s and %q", err, field, says)
	}
}

func coneType(t rapid.TB, name string) firing.ConeType {
	t.Helper()
	for _, typ := range []firing.ConeType{firing.Large, firing.SelfSupporting, firing.Small} {
		if typ.String() == name {
			return typ
		}
	}
	t.Fatalf("cone type %q", name)
	return 0
}

// The table is consistent: its °F column agrees with its °C column within 1 °F; end points rise with the rate but for
// the one published exception; and cones rise in order.
func TestConeTable(t *testing.T) {
	type column struct{ typ, rate string }
	last := map[column]float64{}
	byRate := map[string]float64{} // end point at the rate before, by cone and type
	var violations []string
	for _, row := range table(t, "cone_endpoints.csv") {
		c := float(t, row["temperature_c"])
		near(t, row["cone"]+" in °F", float(t, row["temperature_f"]), c*9/5+32, 1)
		col := column{row["type"], row["rate_c_per_h"]}
		if c <= last[col] {
			t.Errorf("cone %s %v at %g is not above the cone before", row["cone"], col, c)
		}
		last[col] = c
		key := row["cone"] + " " + row["type"]
		if before, ok := byRate[key]; ok && c < before {
			violations = append(violations, key)
		}
		byRate[key] = c
	}
	if len(violations) != 1 || violations[0] != "14 large" {
		t.Errorf("end points that fall with the rate: %v, published: 14 large only", violations)
	}
	_, _, err := firing.ConeEndpoint("14", firing.Large, 60)
	wantField(t, err, "cone", "rises with the rate")
}

// Every published end point comes back as it was published.
func TestConeEndpointAtPublishedRates(t *testing.T) {
	for _, row := range table(t, "cone_endpoints.csv") {
		if row["cone"] == "14" && row["type"] == "large" {
			continue
		}
		k, extrapolated, err := firing.ConeEndpoint(row["cone"], coneType(t, row["type"]), float(t, row["rate_c_per_h"]))
		if err != nil || extrapolated {
			t.Fatalf("cone %s: %v, extrapolated %v", row["cone"], err, extrapolated)
		}
		near(t, row["cone"], k-273.15, float(t, row["temperature_c"]), 1e-9)
	}
}

func TestConeEndpointFaults(t *testing.T) {
	for _, c := range []struct {
		cone  string
		typ   firing.ConeType
		rate  float64
		field string
		says  string
	}{
		{"6.5", firing.Large, 60, "cone", "5.5, 6, 7"},
		{"0", firing.Large, 60, "cone", "022 to 14"},
		{" 6", firing.Large, 60, "cone", "5.5, 6, 7"},
		{"15", firing.Large, 60, "cone", "022 to 14"},
		{"022", firing.Large, 60, "cone", "made as large"},
		{"6", 9, 60, "cone_type", "small"},
		{"6", firing.Large, math.NaN(), "final_ramp_c_per_h", "5 to 600"},
		{"6", firing.Large, 4.9, "final_ramp_c_per_h", "5 to 600"},
	} {
		_, _, err := firing.ConeEndpoint(c.cone, c.typ, c.rate)
		wantField(t, err, c.field, c.says)
	}
}

// Between and beyond the published rates, by hand from the table's values: 30 °C/h is half way between 15 and 60 in the
// logarithm, 94.868 between 60 and 150, and 375 is as far beyond 150 as 150 is beyond 60.
func TestConeEndpointBetweenRates(t *testing.T) {
	for _, c := range []struct {
		typ          firing.ConeType
		rate, want   float64
		extrapolated bool
	}{
		{firing.SelfSupporting, 30, (1185 + 1222) / 2.0, false},
		{firing.SelfSupporting, math.Sqrt(60 * 150), (1222 + 1243) / 2.0, false},
		{firing.SelfSupporting, 375, 1243 + 21, true},
		{firing.SelfSupporting, 7.5, 1185 - 37.0/2, true},
		{firing.Large, math.Sqrt(60 * 150), (1220 + 1241) / 2.0, false},
		{firing.Large, 375, 1241 + 21, true},
		{firing.Large, 15, 1220 - 37, true},
		{firing.Small, 300, 1255, false},
		{firing.Small, 150, 1255 - 21*math.Log(2)/math.Log(2.5), true},
	} {
		k, extrapolated, err := firing.ConeEndpoint("6", c.typ, c.rate)
		if err != nil {
			t.Fatal(err)
		}
		near(t, fmt.Sprintf("%s at %g", c.typ, c.rate), k-273.15, c.want, 1e-9)
		if extrapolated != c.extrapolated {
			t.Errorf("%s at %g: extrapolated %v", c.typ, c.rate, extrapolated)
		}
	}
}
