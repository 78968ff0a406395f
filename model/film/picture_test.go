package film

import (
	"bytes"
	"encoding/xml"
	"io"
	"os"
	"strings"
	"testing"
)

func picture(t testing.TB) *Picture {
	t.Helper()
	p := vase(t)
	s := solverOf(t, p, nil, 200, 1.5e-3, Band{0.060, 0.190, 0.6e-3, 1})
	pic := &Picture{Title: "Demo vase <invented> & co", Profile: p, Edge: 0.060, Before: s.Film(nil), Cookie: Pool{0.150, 0.008}}
	advance(t, s, 0.12)
	pic.After, pic.Drip = s.Film(nil), s.front-0.005
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
	if path := os.Getenv("FILM_PICTURE"); path != "" {
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
