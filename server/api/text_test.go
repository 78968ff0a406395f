package api

import (
	"strings"
	"testing"

	"google.golang.org/grpc/codes"

	pb "github.com/catchline/catchline/proto/catchline/v1"
)

// A name shows what it is: nothing in it turns the writing round, and there is something to see. The characters are from the Unicode Standard
// (https://www.unicode.org/Public/UCD/latest/ucd/PropList.txt, Bidi_Control, and DerivedCoreProperties.txt, Default_Ignorable_Code_Point).
func TestNamesShow(t *testing.T) {
	w := newStudio(t)
	make := func(name, notes string) error {
		_, err := w.bodies.CreateBody(w, &pb.CreateBodyRequest{Parent: "studios/test", Body: &pb.Body{DisplayName: name, Notes: notes}})
		return err
	}
	for _, control := range "\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069" {
		refused(t, make("clear"+string(control)+"blue", ""), codes.InvalidArgument, "control character")
		refused(t, make("clear", "two\nlines"+string(control)), codes.InvalidArgument, "control character")
	}
	for _, nothing := range []string{"\u200b", "\u2060\ufeff", "\u3164", "\u115f\u1160", "\uffa0", "\u2800", "\u00ad", "\ufe0f", " \u200d ", "\U000e0041", "\u3000\u200b"} {
		refused(t, make(nothing, ""), codes.InvalidArgument, "something to see")
	}
	for _, name := range []string{"לבן שלג", "أبيض", "белый", "白釉", "क्षि", "می\u200cخواهم", "🏺", "❤\ufe0f", "é", "1"} {
		if err := make(name, "הערה\nملاحظة"); err != nil {
			t.Errorf("%q: %v", name, err)
		}
	}
	refused(t, make(strings.Repeat(" ", 3), ""), codes.InvalidArgument, "1 to 120")
}
