package film

import (
	"encoding/csv"
	"os"
	"strconv"
	"strings"
	"testing"
)

// published reads testdata/published/thin_film_check.csv and gives the numbers of the row with this case and
// with inputs that hold the given words.
func published(t testing.TB, name, inputs string) []float64 {
	t.Helper()
	f, err := os.Open("../../testdata/published/thin_film_check.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows {
		if row[0] != name || !strings.Contains(row[2], inputs) {
			continue
		}
		var values []float64
		for word := range strings.FieldsSeq(row[3]) {
			if v, err := strconv.ParseFloat(word, 64); err == nil {
				values = append(values, v)
			}
		}
		return values
	}
	t.Fatalf("no row %q with %q", name, inputs)
	return nil
}

// within fails unless got is want to the relative tolerance.
func within(t testing.TB, what string, got, want, tolerance float64) {
	t.Helper()
	if d := got - want; !(d <= tolerance*abs(want) && -d <= tolerance*abs(want)) {
		t.Errorf("%s: got %.8g, want %.8g within %g", what, got, want, tolerance)
	}
}

func abs(v float64) float64 { return max(v, -v) }
