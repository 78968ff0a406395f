package api

import (
	"fmt"
	"maps"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"github.com/catchline/catchline/model/fault"
	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/fields"
	"github.com/catchline/catchline/server/store"
)

// plan is what is to be looked at in messages of one type, in the order of the contract.
type plan struct {
	fields  []planned
	groups  []fields.Group // of alternatives, of which one must be there
	partial bool           // an update, which may leave out of its resource what is there already
	named   *fields.Field  // parent or name; nil: none
	unknown int            // of the struct's field with what the contract does not have
}

type planned struct {
	fields.Field
	name    protoreflect.Name
	limit   limit
	missing bool  // it is a fault that it is not there
	of      *plan // of the messages in it; nil: none of the contract
	aside   bool  // what it holds does not count, but for what the contract does not have
}

// plans are those of all types that came up.
var plans struct {
	sync.RWMutex
	of map[reflect.Type]*plan
}

// planOf puts the limits beside the fields of a message type once.
func planOf(m proto.Message) *plan {
	plans.RLock()
	p := plans.of[reflect.TypeOf(m)]
	plans.RUnlock()
	if p != nil {
		return p
	}
	plans.Lock()
	defer plans.Unlock()
	made := maps.Clone(plans.of) // nobody sees a plan before those that it leads to are made
	if made == nil {
		made = map[reflect.Type]*plan{}
	}
	p = newPlan(m, made)
	plans.of = made
	return p
}

// newPlan makes a plan and those that it leads to, unless they are made.
func newPlan(m proto.Message, made map[reflect.Type]*plan) *plan {
	if p := made[reflect.TypeOf(m)]; p != nil {
		return p
	}
	generated := m.ProtoReflect()
	p := &plan{partial: strings.HasPrefix(string(generated.Descriptor().Name()), "Update"), unknown: fields.Unknown(m)}
	made[reflect.TypeOf(m)] = p
	all, groups := fields.Of(m)
	for _, f := range all {
		one := planned{Field: f, name: f.Name(), limit: limits[limitKey(f.FullName())]}
		if p.named == nil && (one.name == "parent" || one.name == "name") {
			p.named = &f
		}
		if one.limit.output || f.Message() != nil && !isContract(f.Message()) {
			if one.aside = f.Message() != nil && !f.IsMap(); !one.aside && one.limit.output {
				continue
			}
		}
		one.missing = one.limit.misses(f)
		if inner := messageIn(generated, f.FieldDescriptor); inner != nil {
			one.of = newPlan(inner, made)
		}
		p.fields = append(p.fields, one)
	}
	for _, g := range groups {
		if limits[limitKey(g.FullName())].required {
			p.groups = append(p.groups, g)
		}
	}
	return p
}

// messageIn returns an empty message of the type that a field or its list holds, nil where that is none of the contract.
func messageIn(m protoreflect.Message, f protoreflect.FieldDescriptor) proto.Message {
	switch {
	case f.Message() == nil || f.IsMap() || !isContract(f.Message()):
		return nil
	case f.IsList():
		return m.NewField(f).List().NewElement().Message().Interface()
	}
	return m.NewField(f).Message().Interface()
}

func isContract(d protoreflect.Descriptor) bool {
	return strings.HasPrefix(string(d.FullName()), contractPackage)
}

var contractPackage = string(pb.File_catchline_v1_studio_proto.Package()) + "."

func limitKey(n protoreflect.FullName) protoreflect.FullName {
	return protoreflect.FullName(strings.TrimPrefix(string(n), contractPackage))
}

// checker walks a request and collects its faults.
type checker struct {
	faults FieldErrors
	stored bool   // what is looked at is to be stored, and may hold what a newer server has written
	studio string // names of other studios are refused; empty: any studio
	path   []byte // of what is being looked at; it becomes a text only where there is a fault
}

// check refuses a request with a field outside the contract's limits, with every fault at once: numbers that are NaN,
// infinite or out of range, texts that are too long, lists that are too long, names of another form or another studio.
// An update may leave out of its resource what is there already; checkResource looks at the outcome.
func check(request proto.Message) error {
	p, m := planOf(request), reflect.ValueOf(request).Elem()
	c := &checker{studio: p.studio(m), path: make([]byte, 0, 80)}
	c.message(m, p, p.partial)
	return c.faults.or()
}

// checkResource is check for a resource as it is about to be stored.
func checkResource(resource proto.Message, field, studio string) error {
	c := &checker{studio: studio, path: []byte(field), stored: true}
	c.message(reflect.ValueOf(resource).Elem(), planOf(resource), false)
	return c.faults.or()
}

// studio is that which the request's own name or parent belongs to; an update has the name in its resource.
func (p *plan) studio(request reflect.Value) string {
	if p.named != nil {
		name, _ := p.named.In(request)
		return studioIn(name.String())
	}
	for i := range p.fields {
		f := &p.fields[i]
		if m, there := f.In(request); there && p.partial && m.Kind() == reflect.Pointer && f.of != nil && f.of.named != nil {
			return f.of.studio(m.Elem())
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
	c.faults.add(&fault.Error{Field: string(c.path), Value: value, Limit: allowed})
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

// message looks at a message's struct and all in it. In a partial one, what is not there is not missed.
func (c *checker) message(m reflect.Value, p *plan, partial bool) {
	if !c.stored && m.Field(p.unknown).Len() > 0 {
		c.unknown(m.Addr().Interface().(proto.Message).ProtoReflect())
	}
	for i := range p.fields {
		f := &p.fields[i]
		v, there := f.In(m)
		if !there && (partial || !f.missing) {
			continue
		}
		back := c.enter(f.name)
		switch {
		case there && f.aside:
			c.aside(v)
		case there:
			c.present(v, f, partial)
		default:
			c.absent(f, &f.limit)
		}
		c.path = c.path[:back]
	}
	for i := range p.groups {
		if g := &p.groups[i]; !partial && !g.Chosen(m) {
			back := c.enter(g.Name())
			c.fault("empty", "exactly one of "+alternatives(g))
			c.path = c.path[:back]
		}
	}
}

// aside looks only for what the contract does not have.
func (c *checker) aside(v reflect.Value) {
	if c.stored {
		return
	}
	if v.Kind() != reflect.Slice {
		c.unknownIn(v.Interface().(proto.Message).ProtoReflect())
		return
	}
	for i := range v.Len() {
		back := c.item(i)
		c.unknownIn(v.Index(i).Interface().(proto.Message).ProtoReflect())
		c.path = c.path[:back]
	}
}

// misses reports whether absent would have anything to say of the field.
func (l *limit) misses(f protoreflect.FieldDescriptor) bool {
	c := &checker{}
	c.absent(f, l)
	return len(c.faults.Listed) > 0
}

// present looks at a field that is there.
func (c *checker) present(v reflect.Value, f *planned, partial bool) {
	switch {
	case v.Kind() == reflect.Map:
		if c.size(v.Len(), &f.limit) {
			c.entries(f, v)
		}
	case v.Kind() == reflect.Slice && f.IsList(): // bytes are a slice too
		n := v.Len()
		if !c.size(n, &f.limit) {
			n = min(n, f.limit.mostOf) // those beyond would not be taken anyway
		}
		for i := range n {
			back := c.item(i)
			c.value(f, v.Index(i), partial)
			c.path = c.path[:back]
		}
	default:
		c.value(f, v, partial)
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

// size reports whether a list or map has as many items as are allowed.
func (c *checker) size(n int, l *limit) bool {
	if n < l.fewest || l.mostOf > 0 && n > l.mostOf {
		c.fault(strconv.Itoa(n)+" long", fmt.Sprintf("%d to %d", l.fewest, l.mostOf))
		return false
	}
	return true
}

// entries looks at a map in the order of its keys, so that the same request always gets the same answer.
func (c *checker) entries(f *planned, m reflect.Value) {
	numbers := m.Interface().(map[string]float64) // as all maps of the contract are
	good := true
	for _, x := range numbers {
		good = good && f.limit.takes(x)
	}
	if good {
		return // without the work of putting paths together
	}
	for _, k := range slices.Sorted(maps.Keys(numbers)) {
		back := len(c.path)
		c.path = append(append(append(c.path, '['), quoted(k)...), ']')
		c.number(numbers[k], &f.limit)
		c.path = c.path[:back]
	}
}

func (c *checker) value(f *planned, v reflect.Value, partial bool) {
	switch {
	case f.of != nil:
		c.message(fields.Struct(v), f.of, partial)
	case f.Enum() != nil:
		c.option(f, protoreflect.EnumNumber(v.Int()), &f.limit)
	case v.CanFloat():
		c.number(v.Float(), &f.limit)
	case v.CanInt():
		c.number(float64(v.Int()), &f.limit)
	case v.Kind() == reflect.String:
		c.text(v.String(), &f.limit)
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
			return unicode.IsControl(r) && !(l.lines && (r == '\n' || r == '\r' || r == '\t')) || unicode.Is(unicode.Bidi_Control, r)
		}); i >= 0 {
			r, _ := utf8.DecodeRuneInString(s[i:])
			c.fault(fmt.Sprintf("a text with the control character %U", r), "text without control characters")
		} else if s != "" && !l.lines && !strings.ContainsFunc(s, visible) {
			c.fault(quoted(s), "a text with something to see in it")
		}
	}
}

// visible reports whether a character shows. Those that do not are blanks, what only changes the characters beside it (the Unicode Standard's
// Default_Ignorable_Code_Point, which is made of these three sets, section 5.21 and DerivedCoreProperties.txt), and the empty Braille cell.
func visible(r rune) bool {
	const emptyBraille = 0x2800
	return unicode.IsGraphic(r) && !unicode.IsSpace(r) && r != emptyBraille &&
		!unicode.In(r, unicode.Other_Default_Ignorable_Code_Point, unicode.Variation_Selector, unicode.Cf)
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
	return &fault.Error{Field: field, Value: number(value), Limit: allowed}
}

// missing is the fault of a field that names something that does not exist.
func missing(field, name string, kind store.Kind) *fault.Error {
	return &fault.Error{Field: field, Value: quoted(name), Limit: fmt.Sprintf("a %s that exists", kind)}
}
