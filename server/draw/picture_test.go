package draw

import (
	"bytes"
	"encoding/xml"
	"io"
	"os"
	"strings"
	"testing"

	"github.com/catchline/catchline/model/film"
)

// picture draws an invented vase whose foot has a catch line, before and after a firing.
func picture(t testing.TB) *Picture {
	t.Helper()
	p, err := film.NewProfile([]film.Point{
		{Radius: 0.040}, {Height: 0.008, Radius: 0.040}, {Height: 0.008, Radius: 0.0375}, {Height: 0.010, Radius: 0.0375}, {Height: 0.010, Radius: 0.040},
		{Height: 0.060, Radius: 0.058}, {Height: 0.110, Radius: 0.062}, {Height: 0.140, Radius: 0.055}, {Height: 0.155, Radius: 0.035},
		{Height: 0.175, Radius: 0.030}, {Height: 0.190, Radius: 0.036},
	})
	if err != nil {
		t.Fatal(err)
	}
	s, err := film.NewSolver(p, 200, 1.5e-3)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Lay(film.Band{Low: 0.060, High: 0.190, Thickness: 0.6e-3, Mobility: 1}); err != nil {
		t.Fatal(err)
	}
	pic := &Picture{
		Title: "Demo vase <invented> & co", Profile: p, Edge: 0.060, Before: s.Film(nil), Cookie: film.Pool{Diameter: 0.150, Thickness: 0.008},
	}
	if err := s.Advance(0.12); err != nil {
		t.Fatal(err)
	}
	pic.After, pic.Drip = s.Film(nil), s.Clearance()-s.Run()-0.005
	return pic
}

func TestPictureIsWellFormedAndDescribed(t *testing.T) {
	var b bytes.Buffer
	pic := picture(t)
	if err := pic.WriteSVG(&b); err != nil {
		t.Fatal(err)
	}
	text := map[string]string{}
	var stack []string
	for dec := xml.NewDecoder(bytes.NewReader(b.Bytes())); ; {
		tok, err := dec.Token()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		switch v := tok.(type) {
		case xml.StartElement:
			stack = append(stack, v.Name.Local)
		case xml.EndElement:
			stack = stack[:len(stack)-1]
		case xml.CharData:
			if n := len(stack); n > 0 {
				text[stack[n-1]] += string(v)
			}
		}
	}
	if text["title"] != pic.Title {
		t.Errorf("title %q", text["title"])
	}
	if !strings.Contains(text["desc"], "60 mm from the foot") || !strings.Contains(text["desc"], "cookie of 150 mm") {
		t.Errorf("description %q", text["desc"])
	}
	for _, label := range []string{"height, mm", "as laid", "after the firing", "foot", "edge as laid, 60 mm", "longest drip, ", "cookie 150 mm", "times as thick"} {
		if !strings.Contains(text["text"], label) {
			t.Errorf("no label %q", label)
		}
	}
	for _, bad := range []string{"NaN", "Inf", "<script", "http://www.w3.org/1999/xlink"} {
		if strings.Contains(b.String(), bad) {
			t.Errorf("holds %q", bad)
		}
	}
	if path := os.Getenv("DRAW_PICTURE"); path != "" {
		if err := os.WriteFile(path, b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

func TestPictureNeedsItsParts(t *testing.T) {
	if err := (&Picture{}).WriteSVG(io.Discard); err == nil {
		t.Error("an empty picture is accepted")
	}
}
