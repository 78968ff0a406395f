package api

import (
	"crypto/rand"
	"encoding/base32"
	"fmt"
	"strconv"
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"

	"github.com/catchline/catchline/model/fault"
	"github.com/catchline/catchline/server/store"
)

// collections are the words of resource names and the kinds they stand for.
var collections = map[store.Kind]string{
	store.KindStudio:      "studios",
	store.KindGlaze:       "glazes",
	store.KindLot:         "lots",
	store.KindBody:        "bodies",
	store.KindMaterial:    "materials",
	store.KindFiring:      "firings",
	store.KindWare:        "wares",
	store.KindTile:        "tiles",
	store.KindSheet:       "sheets",
	store.KindCalibration: "calibrations",
	store.KindKey:         "keys",
}

// nameOf writes a resource name: studios/demo, studios/demo/glazes/celadon, studios/demo/glazes/celadon/lots/3.
func nameOf(k store.Key) string {
	switch k.Kind {
	case store.KindStudio:
		return "studios/" + k.ID
	case store.KindLot:
		return "studios/" + k.Studio + "/glazes/" + k.Parent + "/lots/" + k.ID
	}
	collection, ok := collections[k.Kind]
	if !ok { // none that a caller could ask for, but it may be damaged and has to be called something
		collection = string(k.Kind)
	}
	return "studios/" + k.Studio + "/" + collection + "/" + k.ID
}

// pattern is what a name of the kind looks like, for people.
func pattern(kind store.Kind) string {
	switch kind {
	case store.KindStudio:
		return "studios/{studio}"
	case store.KindLot:
		return "studios/{studio}/glazes/{glaze}/lots/{lot}"
	case store.KindCalibration:
		return "studios/{studio}/calibrations/{number}"
	}
	return fmt.Sprintf("studios/{studio}/%s/{%s}", collections[kind], kind)
}

// parseName reads the resource name that a field holds. A name of another form is a *fault.Error.
func parseName(field, name string, kind store.Kind) (store.Key, error) {
	if key, ok := keyOf(name, kind); ok {
		return key, nil
	}
	return store.Key{}, &fault.Error{Field: field, Value: quoted(name), Limit: "a name of the form " + pattern(kind)}
}

func keyOf(name string, kind store.Kind) (store.Key, bool) {
	rest, ok := strings.CutPrefix(name, "studios/")
	if !ok {
		return store.Key{}, false
	}
	studio, rest, more := strings.Cut(rest, "/")
	if !validID(studio) || more == (kind == store.KindStudio) {
		return store.Key{}, false
	}
	if kind == store.KindStudio {
		return store.Key{Studio: store.System, Kind: kind, ID: studio}, true
	}
	key := store.Key{Studio: studio, Kind: kind}
	collection := collections[kind]
	if kind == store.KindLot {
		if rest, ok = strings.CutPrefix(rest, "glazes/"); !ok {
			return store.Key{}, false
		}
		if key.Parent, rest, _ = strings.Cut(rest, "/"); !validID(key.Parent) {
			return store.Key{}, false
		}
	}
	if len(rest) <= len(collection) || rest[:len(collection)] != collection || rest[len(collection)] != '/' {
		return store.Key{}, false
	}
	key.ID = rest[len(collection)+1:] // with a slash in it, it is none
	if kind == store.KindCalibration {
		n, err := strconv.ParseInt(key.ID, 10, 64)
		return key, err == nil && n > 0 && strconv.FormatInt(n, 10) == key.ID
	}
	return key, validID(key.ID)
}

// studioOf is the studio of a name of any kind, "" if it has none.
func studioOf(key store.Key) string {
	if key.Kind == store.KindStudio {
		return key.ID
	}
	return key.Studio
}

// maxID is the largest length of an id.
const maxID = 63

const idRule = "1 to 63 of a-z, 0-9 and -, starting with a letter or a digit"

func validID(id string) bool {
	if id == "" || len(id) > maxID || id[0] == '-' {
		return false
	}
	for i := range len(id) {
		if c := id[i]; !(c >= 'a' && c <= 'z' || c >= '0' && c <= '9' || c == '-') {
			return false
		}
	}
	return true
}

// idFrom makes an id of what people call a thing: "Élan Blue No. 2" becomes elan-blue-no-2. It is empty where the text has no
// letter or digit that an id may hold.
func idFrom(displayName string) string {
	var b strings.Builder
	gap := false
	for _, r := range norm.NFKD.String(displayName) {
		r = unicode.ToLower(r)
		switch {
		case r >= 'a' && r <= 'z' || r >= '0' && r <= '9':
			if gap && b.Len() > 0 {
				b.WriteByte('-')
			}
			gap = false
			b.WriteRune(r)
		case unicode.Is(unicode.Mn, r): // the accent of the letter before
		default:
			gap = true
		}
		if b.Len() >= maxID-1 {
			break
		}
	}
	return b.String()
}

// idEncoding uses letters and digits that an id may hold and that sort as their bits do.
var idEncoding = base32.NewEncoding("0123456789abcdefghjkmnpqrstvwxyz").WithPadding(base32.NoPadding)

// randomID is 20 characters that nobody has used before or can guess.
func randomID() string {
	var b [12]byte
	rand.Read(b[:])
	return idEncoding.EncodeToString(b[:])
}

// quoted writes a text from outside into an error, cut so that a hostile one cannot fill it.
func quoted(s string) string {
	if s == "" {
		return "empty"
	}
	const longest = 100
	n := 0
	for i := range s {
		if n == longest {
			return strconv.Quote(s[:i]) + "..."
		}
		n++
	}
	return strconv.Quote(s)
}
