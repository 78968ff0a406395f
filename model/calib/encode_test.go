package calib

import (
	"crypto/sha256"
	"errors"
	"math"
	"os"
	"reflect"
	"testing"
)

func TestStoredCalibrationComesBackTheSame(t *testing.T) {
	tiles := someTiles(30, 5, 8)
	v := -4.0
	tiles[3].Clearance = &v
	c, err := Fit(tiles[:28], DefaultPrior())
	if err != nil {
		t.Fatal(err)
	}
	for i := 28; i < 30; i++ {
		if c, err = c.Add(&tiles[i]); err != nil {
			t.Fatal(err)
		}
	}
	data, err := c.MarshalBinary()
	if err != nil {
		t.Fatal(err)
	}
	var back Calibration
	if err := back.UnmarshalBinary(data); err != nil {
		t.Fatal(err)
	}
	for i := range tiles {
		want, _ := predicted(c, &tiles[i].Conditions)
		got, _ := predicted(&back, &tiles[i].Conditions)
		if !reflect.DeepEqual(got, want) {
			t.Fatalf("tile %d: %+v before, %+v after", i, want, got)
		}
	}
	if !reflect.DeepEqual(c.Diagnose(), back.Diagnose()) {
		t.Error("diagnostics differ")
	}
	again, err := back.MarshalBinary()
	if err != nil || string(again) != string(data) {
		t.Error("stored again it is other bytes", err)
	}
	for _, cut := range []int{0, 1, 5, 40, len(data) / 2, len(data) - 1} {
		if err := new(Calibration).UnmarshalBinary(data[:cut]); !errors.Is(err, ErrCorrupt) {
			t.Errorf("cut at %d: %v", cut, err)
		}
	}
	bad := append([]byte(nil), data...)
	bad[len(bad)/2] ^= 1
	if err := new(Calibration).UnmarshalBinary(bad); !errors.Is(err, ErrCorrupt) {
		t.Errorf("one bit flipped: %v", err)
	}
}

// A calibration that was stored before there were beads is still read, and predicts what it did:
// testdata/version_1.calibration is one of those tiles, and the numbers are those that the program of then gave for
// it, on a processor with fused multiplication; without, the last digits are others.
func TestCalibrationOfVersionOneIsRead(t *testing.T) {
	data, err := os.ReadFile("testdata/version_1.calibration")
	if err != nil {
		t.Fatal(err)
	}
	var c Calibration
	if err := c.UnmarshalBinary(data); err != nil {
		t.Fatal(err)
	}
	p, err := predicted(&c, &someTiles(12, 3, 8)[5].Conditions)
	if err != nil {
		t.Fatal(err)
	}
	for what, v := range map[string][2]float64{"mean": {p.Mean, 0.5288130912475628}, "scale": {p.Scale, 0.4073968976781456}, "degrees of freedom": {p.DF, 57.66311027065588}} {
		if math.Abs(v[0]/v[1]-1) > 1e-9 {
			t.Errorf("%s %v, was %v", what, v[0], v[1])
		}
	}
	again, err := c.MarshalBinary()
	if err != nil {
		t.Fatal(err)
	}
	if err := new(Calibration).UnmarshalBinary(again); err != nil {
		t.Errorf("stored again: %v", err)
	}
}

// FuzzUnmarshal repairs the checksum, so that the fuzzer gets past it, and asks that what is accepted can be used.
func FuzzUnmarshal(f *testing.F) {
	for _, n := range []int{0, 1, 6} {
		c, err := Fit(someTiles(n, 3, 2), DefaultPrior())
		if err != nil {
			f.Fatal(err)
		}
		data, _ := c.MarshalBinary()
		f.Add(data[:len(data)-sha256.Size])
	}
	q := someTiles(1, 3, 4)[0]
	f.Fuzz(func(t *testing.T, body []byte) {
		sum := sha256.Sum256(body)
		var c Calibration
		if err := c.UnmarshalBinary(append(body[:len(body):len(body)], sum[:]...)); err != nil {
			if !errors.Is(err, ErrCorrupt) {
				t.Fatal(err)
			}
			return
		}
		p, err := predicted(&c, &q.Conditions)
		if err != nil {
			return // numbers that no fit gives may overflow, but say so
		}
		if math.IsNaN(p.Mean) || math.IsNaN(p.Scale) {
			t.Fatalf("accepted and predicts %+v", p)
		}
	})
}
