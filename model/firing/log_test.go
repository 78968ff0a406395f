package firing_test

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/catchline/catchline/model/firing"
)

func TestParseLogFaults(t *testing.T) {
	for name, c := range map[string]struct {
		text string
		says []string
	}{
		"empty":         {"", []string{"log line 1 is not a header"}},
		"no columns":    {"time,temp\n1,2\n", []string{`log line 1 is "time,temp"`, "minutes and either temperature_c or temperature_f"}},
		"both scales":   {"minutes,temperature_c,temperature_f\n0,20,68\n", []string{"each once"}},
		"one reading":   {"minutes,temperature_c\n0,20\n", []string{"at least 2 readings"}},
		"every bad one": {"minutes,temperature_c\n0,20\n5,x\n10,NaN\n15\n20,1500\nInf,30\n25,40\n", []string{`line 3 temperature_c is "x"`, `line 4 temperature_c is "NaN"`, "line 5 is 1 columns", `line 6 temperature_c is "1500"`, `line 7 minutes is "Inf"`}},
		"not rising":    {"minutes,temperature_c\n0,20\n5,30\n5,40\n4,40\n6,40\n", []string{"line 4 minutes is 5", "line 5 minutes is 4"}},
		"gap":           {"minutes,temperature_c\n0,20\n61,30\n62,31\n", []string{"line 3 minutes is a gap of 61 minutes; allowed: at most 60"}},
		"spike":         {"minutes,temperature_c\n0,1000\n1,0\n2,1002\n", []string{"line 3 temperature is a jump of 1000 K in 1 minutes"}},
		"fahrenheit":    {"minutes,temperature_f\n0,68\n1,2700\n", []string{"line 3 temperature_f", "-58 to 2642"}},
		"bad quote":     {"minutes,temperature_c\n0,20\n1,\"2\"0\n2,22\n", []string{"line 3", "plain CSV"}},
		"quoted lines":  {"minutes,temperature_c,note\n0,20,\"two\nlines\"\n1,x,\n", []string{"line 4 temperature_c"}},
	} {
		t.Run(name, func(t *testing.T) {
			points, err := firing.ParseLog(strings.NewReader(c.text))
			var faults *firing.LogError
			if !errors.As(err, &faults) || points != nil {
				t.Fatalf("got %v, %v", points, err)
			}
			for _, want := range c.says {
				if !strings.Contains(err.Error(), want) {
					t.Errorf("got %q, want %q", err, want)
				}
			}
			if lines := strings.Count(err.Error(), "\n") + 1; lines > max(len(c.says), 1) {
				t.Errorf("too many faults: %q", err)
			}
		})
	}
}

func TestLogLimits(t *testing.T) {
	var b strings.Builder
	b.WriteString("minutes,temperature_c\n")
	for i := range firing.MaxLogReadings {
		fmt.Fprintf(&b, "%g,%g\n", float64(i)*0.05, 20+float64(i)*0.05)
	}
	if _, err := firing.ParseLog(strings.NewReader(b.String())); err != nil {
		t.Fatal(err)
	}
	b.WriteString("1001,1020\n")
	_, err := firing.ParseLog(strings.NewReader(b.String()))
	wantField(t, err, fmt.Sprintf("log line %d", firing.MaxLogReadings+2), "at most 20000 readings")

	// A thousand bad lines: a hundred are listed, the rest counted.
	_, err = firing.ParseLog(strings.NewReader("minutes,temperature_c\n" + strings.Repeat("x,20\n", 1000)))
	var faults *firing.LogError
	if !errors.As(err, &faults) || len(faults.Faults) != 100 || faults.More != 900 {
		t.Errorf("got %v", err)
	}

	_, err = firing.ParseLog(brokenReader{})
	if !errors.Is(err, errBroken) {
		t.Errorf("got %v, want the reader's error", err)
	}
}

var errBroken = errors.New("broken")

type brokenReader struct{}

func (brokenReader) Read([]byte) (int, error) { return 0, errBroken }

func TestLogCurveFaults(t *testing.T) {
	flat := []firing.Point{{Seconds: 0, Kelvin: 1400}, {Seconds: 60, Kelvin: 1450}}
	_, err := firing.LogCurve(flat, 200)
	wantField(t, err, "start_c", "100 °C below the peak")
	_, err = firing.LogCurve(flat[:1], 200)
	wantField(t, err, "log", "2 to 20000")
	_, err = firing.LogCurve([]firing.Point{{Seconds: 60, Kelvin: 300}, {Seconds: 60, Kelvin: 1400}}, 200)
	wantField(t, err, "log[1].minutes", "more than")
	_, err = firing.LogCurve([]firing.Point{{Seconds: 0, Kelvin: 300}, {Seconds: 60, Kelvin: math.NaN()}}, 200)
	wantField(t, err, "log[1].temperature_c", "NaN")
}

// Whatever a log holds, it is refused with its lines named, or it makes a firing of finite numbers, or that firing is
// refused by field.
func FuzzParseLog(f *testing.F) {
	f.Add("minutes,temperature_c\n0,20\n60,600\n100,900\n150,1100\n200,1222\n230,1100\n")
	f.Add("minutes,temperature_f\r\n0,68\r\n\r\n10,200\r\n")
	f.Add("Temperature_C;minutes\n1;2\n")
	f.Add("minutes,temperature_c\n0,NaN\n-1,1e400\n\"")
	f.Fuzz(func(t *testing.T, text string) {
		points, err := firing.ParseLog(strings.NewReader(text))
		if err != nil {
			var faults *firing.LogError
			if !errors.As(err, &faults) || len(faults.Faults) == 0 {
				t.Fatalf("%v", err)
			}
			return
		}
		if len(points) < 2 || len(points) > firing.MaxLogReadings || points[0].Seconds != 0 {
			t.Fatalf("%d readings from %v", len(points), points[0])
		}
		for i, p := range points {
			if i > 0 && !(p.Seconds > points[i-1].Seconds) || !(p.Kelvin > 200 && p.Kelvin < 1800) {
				t.Fatalf("reading %d is %+v", i, p)
			}
		}
		c, err := firing.LogCurve(points, 200)
		if err != nil {
			return
		}
		p, err := firing.NewHeatHistory(c, firing.Atmosphere{}, nil)
		if err != nil {
			wantField(t, err, "heat", "")
			return
		}
		total := 0.0
		for _, n := range p.Nodes {
			if !(n.Seconds >= 0) || !(n.Kelvin > 0) {
				t.Fatalf("node %+v", n)
			}
			total += n.Seconds
		}
		if above := c.SecondsAbove(c.PeakKelvin() - 300); math.Abs(total-above) > 1e-3*above {
			t.Fatalf("nodes hold %g s of %g", total, above)
		}
		if !(p.ReferenceKelvin <= p.PeakKelvin && p.ReferenceKelvin >= p.PeakKelvin-300) {
			t.Fatalf("reference %g K, peak %g K", p.ReferenceKelvin, p.PeakKelvin)
		}
	})
}
