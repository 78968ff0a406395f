package api

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"github.com/catchline/catchline/model/chem"
	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/store"
)

// plan is what is to be looked at in messages of one type, in the order of the contract.
type plan struct {
	fields []planned
	groups []protoreflect.OneofDescriptor // of alternatives, of which one must be there
}

type planned struct {
	field   protoreflect.FieldDescriptor
	name    protoreflect.Name
	limit   limit
	missing bool // it is a fault that it is not there
}

// planOf puts the limits beside the fields of a message type once.
var planOf = func() func(protoreflect.MessageDescriptor) *plan {
	var plans sync.Map
	return func(d protoreflect.MessageDescriptor) *plan {
		if p, ok := plans.Load(d); ok {
			return p.(*plan)
		}
		p := &plan{}
		fields := d.Fields()
		for i := range fields.Len() {
			f := fields.Get(i)
			one := planned{field: f, name: f.Name(), limit: limits[limitKey(f.FullName())]}
			if one.limit.output {
				continue
			}
			one.missing = one.limit.misses(f)
			p.fields = append(p.fields, one)
		}
		groups := d.Oneofs()
		for i := range groups.Len() {
			if g := groups.Get(i); !g.IsSynthetic() && limits[limitKey(g.FullName())].required {
				p.groups = append(p.groups, g)
			}
		}
		plans.Store(d, p)
		return p
	}
}()

var contractPackage = string(pb.File_catchline_v1_studio_proto.Package()) + "."

func limitKey(n protoreflect.FullName) protoreflect.FullName {
	return protoreflect.FullName(strings.TrimPrefix(string(n), contractPackage))
}

// checker walks a request and collects its faults.
type checker struct {
	faults FieldErrors
	studio string // names of other studios are refused; empty: any studio
	path   []byte // of what is being looked at; it becomes a text only where there is a fault
}

// check refuses a request with a field outside the contract's limits, with every fault at once: numbers that are NaN,
// infinite or out of range, texts that are too long, lists that are too long, names of another form or another studio.
// An update may leave out of its resource what is there already; checkResource looks at the outcome.
func check(request proto.Message) error {
	m := request.ProtoReflect()
	c := &checker{studio: studioOfRequest(m), path: make([]byte, 0, 80)}
	c.message(m, strings.HasPrefix(string(m.Descriptor().Name()), "Update"))
	return c.faults.or()
}

// checkResource is check for a resource as it is about to be stored.
func checkResource(resource proto.Message, field, studio string) error {
	c := &checker{studio: studio, path: []byte(field)}
	c.message(resource.ProtoReflect(), false)
	return c.faults.or()
}

// studioOfRequest is the studio that the request's own name or parent belongs to.
func studioOfRequest(m protoreflect.Message) string {
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		isMessage := f.Message() != nil && !f.IsList() && !f.IsMap()
		switch {
		case f.Name() == "parent" || f.Name() == "name":
			return studioIn(m.Get(f).String())
		case isMessage && m.Has(f) && strings.HasPrefix(string(m.Descriptor().Name()), "Update"):
			if n := f.Message().Fields().ByName("name"); n != nil {
				return studioIn(m.Get(f).Message().Get(n).String())
			}
		}
	}
	return ""
}

// studioIn is the id of the studio in a resource name.
func studioIn(name string) string {
	rest, ok := strings.CutPrefix(name, "studios/")
	if !ok {
		return ""
	}
	id, _, _ := strings.Cut(rest, "/")
	return id
}

// fault adds one of what is being looked at.
func (c *checker) fault(value, allowed string) {
	if len(c.faults) < maxViolations {
		c.faults = append(c.faults, &chem.FieldError{Field: string(c.path), Value: value, Limit: allowed})
	}
}

// enter goes on to a field of what is being looked at, and returns the way back.
func (c *checker) enter(field protoreflect.Name) (back int) {
	back = len(c.path)
	if back > 0 {
		c.path = append(c.path, '.')
	}
	c.path = append(c.path, field...)
	return back
}

// item goes on to an item of a list.
func (c *checker) item(i int) (back int) {
	back = len(c.path)
	c.path = append(strconv.AppendInt(append(c.path, '['), int64(i), 10), ']')
	return back
}

// message looks at a message and all in it. In a partial one, what is not there is not missed.
func (c *checker) message(m protoreflect.Message, partial bool) {
	p := planOf(m.Descriptor())
	for i := range p.fields {
		f := &p.fields[i]
		there := m.Has(f.field)
		if !there && (partial || !f.missing) {
			continue
		}
		back := c.enter(f.name)
		if there {
			c.present(m.Get(f.field), f.field, &f.limit, partial)
		} else {
			c.absent(f.field, &f.limit)
		}
		c.path = c.path[:back]
	}
	for _, g := range p.groups {
		if m.WhichOneof(g) == nil && !partial {
			back := c.enter(g.Name())
			c.fault("empty", "exactly one of "+alternatives(g))
			c.path = c.path[:back]
		}
	}
}

// misses reports whether absent would have anything to say of the field.
func (l *limit) misses(f protoreflect.FieldDescriptor) bool {
	c := &checker{}
	c.absent(f, l)
	return len(c.faults) > 0
}

// present looks at a field that is there.
func (c *checker) present(v protoreflect.Value, f protoreflect.FieldDescriptor, l *limit, partial bool) {
	switch {
	case f.IsMap():
		c.size(v.Map().Len(), l)
		c.entries(f, v.Map(), l, partial)
	case f.IsList():
		list := v.List()
		c.size(list.Len(), l)
		for i := range list.Len() {
			back := c.item(i)
			c.value(f, list.Get(i), l, partial)
			c.path = c.path[:back]
		}
	default:
		c.value(f, v, l, partial)
	}
}

// absent refuses a field that is not there and has to be. A number without presence is 0 when it is not there.
func (c *checker) absent(f protoreflect.FieldDescriptor, l *limit) {
	switch {
	case f.IsList() || f.IsMap():
		c.size(0, l)
	case l.required && l.text:
		c.fault("empty", "1 to "+strconv.Itoa(l.longest)+" characters")
	case l.required && l.kind != "":
		c.fault("empty", "a name of the form "+pattern(l.kind))
	case l.required:
		c.fault("empty", "a "+words(string(f.Message().Name())))
	case f.HasPresence():
	case l.isOption:
		c.option(f, f.Default().Enum(), l)
	case l.number:
		c.number(0, l)
	}
}

func (c *checker) size(n int, l *limit) {
	if n < l.fewest || l.mostOf > 0 && n > l.mostOf {
		c.fault(strconv.Itoa(n)+" long", fmt.Sprintf("%d to %d", l.fewest, l.mostOf))
	}
}

// entries looks at a map in the order of its keys, so that the same request always gets the same answer.
func (c *checker) entries(f protoreflect.FieldDescriptor, m protoreflect.Map, l *limit, partial bool) {
	if k := f.MapValue().Kind(); k == protoreflect.DoubleKind {
		good := true
		m.Range(func(_ protoreflect.MapKey, v protoreflect.Value) bool {
			good = l.takes(v.Float())
			return good
		})
		if good {
			return // without the work of putting paths together
		}
	}
	values := map[string]protoreflect.Value{}
	m.Range(func(k protoreflect.MapKey, v protoreflect.Value) bool {
		values[k.String()] = v
		return true
	})
	for _, k := range slices.Sorted(maps.Keys(values)) {
		back := len(c.path)
		c.path = append(append(append(c.path, '['), quoted(k)...), ']')
		c.value(f.MapValue(), values[k], l, partial)
		c.path = c.path[:back]
	}
}

func (c *checker) value(f protoreflect.FieldDescriptor, v protoreflect.Value, l *limit, partial bool) {
	switch f.Kind() {
	case protoreflect.DoubleKind, protoreflect.FloatKind:
		c.number(v.Float(), l)
	case protoreflect.Int32Kind, protoreflect.Int64Kind:
		c.number(float64(v.Int()), l)
	case protoreflect.StringKind:
		c.text(v.String(), l)
	case protoreflect.EnumKind:
		c.option(f, v.Enum(), l)
	case protoreflect.MessageKind:
		if strings.HasPrefix(string(f.Message().FullName()), contractPackage) {
			c.message(v.Message(), partial)
		}
	}
}

// takes reports whether a number is finite and within the limit.
func (l *limit) takes(x float64) bool {
	switch {
	case math.IsNaN(x) || math.IsInf(x, 0):
		return false
	case !l.number || l.zeroOK && x == 0:
		return true
	}
	return x >= l.least && x <= l.most && !(l.above && x == l.least)
}

func (c *checker) number(x float64, l *limit) {
	if !l.takes(x) {
		c.fault(number(x), l.rangeOr("a finite number"))
	}
}

// number writes a number for an error: in full, without an exponent unless it would fill the line.
func number(x float64) string {
	if math.Abs(x) >= 1e15 || x != 0 && math.Abs(x) < 1e-9 {
		return strconv.FormatFloat(x, 'g', -1, 64)
	}
	return strconv.FormatFloat(x, 'f', -1, 64)
}

func (l *limit) rangeOr(otherwise string) string {
	least, most := strconv.FormatFloat(l.least, 'f', -1, 64), strconv.FormatFloat(l.most, 'f', -1, 64)
	switch {
	case !l.number:
		return otherwise
	case l.above:
		return "more than " + least + " and at most " + most
	}
	return least + " to " + most
}

func (c *checker) text(s string, l *limit) {
	switch {
	case l.kind != "":
		if s == "" && !l.required {
			return
		}
		key, err := parseName("", s, l.kind)
		if err != nil {
			c.fault(quoted(s), "a name of the form "+pattern(l.kind))
		} else if c.studio != "" && studioOf(key) != c.studio {
			c.fault(quoted(s), "a name under studios/"+c.studio)
		}
	case !l.text:
	case l.required && strings.TrimSpace(s) == "":
		c.fault(quoted(s), "1 to "+strconv.Itoa(l.longest)+" characters")
	case utf8.RuneCountInString(s) > l.longest:
		c.fault(strconv.Itoa(utf8.RuneCountInString(s))+" characters", "at most "+strconv.Itoa(l.longest)+" characters")
	default:
		if i := strings.IndexFunc(s, func(r rune) bool {
			return unicode.IsControl(r) && !(l.lines && (r == '\n' || r == '\r' || r == '\t'))
		}); i >= 0 {
			r, _ := utf8.DecodeRuneInString(s[i:])
			c.fault(fmt.Sprintf("a text with the control character %U", r), "text without control characters")
		}
	}
}

func (c *checker) option(f protoreflect.FieldDescriptor, n protoreflect.EnumNumber, l *limit) {
	values := f.Enum().Values()
	if values.ByNumber(n) != nil && !(l.isOption && n == 0) {
		return
	}
	var all []string
	for i := range values.Len() {
		if v := values.Get(i); !(l.isOption && v.Number() == 0) {
			all = append(all, string(v.Name()))
		}
	}
	value := strconv.Itoa(int(n))
	if v := values.ByNumber(n); v != nil {
		value = string(v.Name())
	}
	c.fault(value, "one of "+strings.Join(all, ", "))
}

// alternatives lists the fields of a group.
func alternatives(g protoreflect.OneofDescriptor) string {
	var all []string
	for i := range g.Fields().Len() {
		all = append(all, string(g.Fields().Get(i).Name()))
	}
	return strings.Join(all, ", ")
}

// words writes the name of a message type as words: FiringPlan is "firing plan".
func words(name string) string {
	var b strings.Builder
	for i, r := range name {
		if unicode.IsUpper(r) && i > 0 {
			b.WriteByte(' ')
		}
		b.WriteRune(unicode.ToLower(r))
	}
	return b.String()
}

// fieldError makes a fault of a field with a value that is a number.
func fieldError(field string, value float64, allowed string) error {
	return &chem.FieldError{Field: field, Value: number(value), Limit: allowed}
}

// missing is the fault of a field that names something that does not exist.
func missing(field, name string, kind store.Kind) *chem.FieldError {
	return &chem.FieldError{Field: field, Value: quoted(name), Limit: fmt.Sprintf("a %s that exists", kind)}
}
