package main

import (
	"errors"
	"fmt"
	"io"
	"iter"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	"github.com/catchline/catchline/client"
)

// resourceCommands are what can be done with each kind of thing that a studio keeps.
type resourceCommands struct {
	List   listCommand   `cmd:"" help:"List them."`
	Show   showCommand   `cmd:"" help:"Show one."`
	Create createCommand `cmd:"" help:"Store a new one from JSON."`
	Update updateCommand `cmd:"" help:"Change one by JSON."`
	Delete deleteCommand `cmd:"" help:"Delete one."`
}

type lotCommands struct {
	List    lotListCommand    `cmd:"" help:"List the lots of a glaze."`
	Show    showCommand       `cmd:"" help:"Show one."`
	Create  lotCreateCommand  `cmd:"" help:"Store a new one from JSON."`
	Update  updateCommand     `cmd:"" help:"Change one by JSON."`
	Delete  deleteCommand     `cmd:"" help:"Delete one."`
	Compare lotCompareCommand `cmd:"" help:"Say whether a new lot runs more than the old one."`
}

type materialCommands struct {
	List struct {
		BuiltIn bool `help:"Also the minerals that every studio has."`
		listCommand
	} `cmd:"" help:"List them."`
	Show   showCommand   `cmd:"" help:"Show one."`
	Create createCommand `cmd:"" help:"Store a new one from JSON."`
	Update updateCommand `cmd:"" help:"Change one by JSON."`
	Delete deleteCommand `cmd:"" help:"Delete one."`
}

type studioCommands struct {
	List   listCommand   `cmd:"" help:"List those that you may see."`
	Show   showCommand   `cmd:"" help:"Show one."`
	Create createCommand `cmd:"" help:"Store a new one, from JSON or by its name."`
	Update updateCommand `cmd:"" help:"Change one and its settings by JSON."`
	Delete deleteCommand `cmd:"" help:"Delete one."`
}

// kind is a kind of thing, and how the contract is asked about it.
type kind struct {
	noun       string
	collection string
	// make gives an empty message.
	make   func() proto.Message
	list   func(a *app, c *client.Client, parent string) iter.Seq2[proto.Message, error]
	get    func(a *app, c *client.Client, name string) (proto.Message, error)
	create func(a *app, c *client.Client, parent, id string, m proto.Message) (proto.Message, error)
	update func(a *app, c *client.Client, m proto.Message, mask *fieldmaskpb.FieldMask) (proto.Message, error)
	delete func(a *app, c *client.Client, name, etag string, force bool) error
	// columns of a list beside the id and the display name.
	head []string
	row  func(m proto.Message) []any
}

// kindOf finds a kind by its noun or its collection.
func kindOf(called string) *kind {
	for i := range kinds {
		if kinds[i].noun == called || kinds[i].collection == called {
			return &kinds[i]
		}
	}
	return nil
}

// messages turns a walk over things of one kind into one over messages.
func messages[M proto.Message](all iter.Seq2[M, error]) iter.Seq2[proto.Message, error] {
	return func(yield func(proto.Message, error) bool) {
		for m, err := range all {
			if !yield(m, err) {
				return
			}
		}
	}
}

// nameOf is the resource name of a thing of the kind that the command is about.
func (a *app) nameOf(k *kind, called string) (string, error) {
	switch {
	case k.noun == "lot":
		return a.lotNamed(called)
	case k.noun == "studio":
		return full("studios/", called), nil
	}
	return a.named(k.collection, called)
}

// kindsTable lists things.
func kindsTable(k *kind, all []proto.Message) *table {
	t := &table{head: append([]string{k.noun, "name"}, k.head...)}
	for _, m := range all {
		id := shortOf(textField(m, "name"))
		if id == "" {
			id = "built in"
		}
		t.add(append([]any{id, textField(m, "display_name")}, k.row(m)...)...)
	}
	return t
}

// showAll lists things; as JSON they are a list of messages.
func (a *app) showAll(k *kind, walk iter.Seq2[proto.Message, error]) error {
	var all []proto.Message
	var unreadable *client.UnreadableError
	for m, err := range walk {
		if errors.As(err, &unreadable) {
			break // after all the others
		}
		if err != nil {
			return err
		}
		all = append(all, m)
	}
	if err := a.writeAll(k, all); err != nil {
		return err
	}
	if unreadable != nil {
		return unreadable
	}
	return nil
}

func (a *app) writeAll(k *kind, all []proto.Message) error {
	if a.Format != "json" {
		return kindsTable(k, all).write(a.out, a.Format, a.Units)
	}
	var b strings.Builder
	b.WriteString("[")
	for i, m := range all {
		if i > 0 {
			b.WriteString(",")
		}
		b.WriteString("\n")
		if err := writeJSON(&b, m); err != nil {
			return err
		}
	}
	b.WriteString("]\n")
	_, err := io.WriteString(a.out, b.String())
	return err
}

// showOne shows a thing.
func (a *app) showOne(k *kind, m proto.Message) error {
	return a.show(m, func() *table { return kindsTable(k, []proto.Message{m}) }, func(w io.Writer) error {
		p := &printer{w: w}
		sayFields(p, m.ProtoReflect(), "")
		return p.err
	})
}

type listCommand struct{}

// Run lists things.
func (*listCommand) Run(a *app) error {
	k := kindOf(a.noun)
	c, err := a.client()
	if err != nil {
		return err
	}
	return a.showAll(k, k.list(a, c, a.studioName()))
}

type lotListCommand struct {
	Glaze string `arg:"" help:"The glaze."`
}

// Run lists the lots of a glaze.
func (l *lotListCommand) Run(a *app) error {
	parent, err := a.named("glazes", l.Glaze)
	if err != nil {
		return err
	}
	c, err := a.client()
	if err != nil {
		return err
	}
	k := kindOf("lot")
	return a.showAll(k, k.list(a, c, parent))
}

type showCommand struct {
	Name string `arg:"" help:"Its id, its full name, or what people call it."`
}

// Run shows a thing.
func (s *showCommand) Run(a *app) error {
	k := kindOf(a.noun)
	name, err := a.nameOf(k, s.Name)
	if err != nil {
		return err
	}
	c, err := a.client()
	if err != nil {
		return err
	}
	m, err := k.get(a, c, name)
	if err != nil {
		return err
	}
	return a.showOne(k, m)
}

type createCommand struct {
	ID   string `arg:"" optional:"" help:"The new id. Default: made from the display name, or the last part of the JSON's name."`
	File string `placeholder:"FILE" help:"JSON of it; - is the standard input."`
	Call string `placeholder:"NAME" help:"What people call it; goes before the JSON's."`
}

// Run stores a thing.
func (n *createCommand) Run(a *app) error {
	return n.in(a, kindOf(a.noun), a.studioName())
}

// in stores a thing under a parent.
func (n *createCommand) in(a *app, k *kind, parent string) error {
	m := k.make()
	if n.File != "" {
		if err := a.readJSON(n.File, m); err != nil {
			return err
		}
	}
	fields := m.ProtoReflect().Descriptor().Fields()
	if n.Call != "" {
		m.ProtoReflect().Set(fields.ByName("display_name"), protoreflect.ValueOfString(n.Call))
	}
	if textField(m, "display_name") == "" {
		return faultf("A new %s needs a name: give --call, or displayName in --file.", k.noun)
	}
	id := n.ID
	if id == "" {
		id = idOf(textField(m, "name"))
	}
	if err := a.qualify(m.ProtoReflect()); err != nil {
		return err
	}
	c, err := a.client()
	if err != nil {
		return err
	}
	made, err := k.create(a, c, parent, id, m)
	if err != nil {
		return err
	}
	return a.showOne(k, made)
}

type lotCreateCommand struct {
	Glaze string `arg:"" help:"The glaze."`
	createCommand
}

// Run stores a lot.
func (n *lotCreateCommand) Run(a *app) error {
	parent, err := a.named("glazes", n.Glaze)
	if err != nil {
		return err
	}
	return n.in(a, kindOf("lot"), parent)
}

type updateCommand struct {
	Name   string   `arg:"" help:"Its id, its full name, or what people call it."`
	File   string   `required:"" placeholder:"FILE" help:"JSON with what is to change; - is the standard input. With an etag in it, nothing is changed that somebody else changed meanwhile."`
	Fields []string `placeholder:"FIELD" help:"Fields to change, such as display_name or settings.tolerated_risk; one that the JSON lacks is cleared. Default: those that the JSON has."`
}

// Run changes a thing.
func (n *updateCommand) Run(a *app) error {
	k := kindOf(a.noun)
	m := k.make()
	if err := a.readJSON(n.File, m); err != nil {
		return err
	}
	if err := a.qualify(m.ProtoReflect()); err != nil {
		return err
	}
	name, err := a.nameOf(k, n.Name)
	if err != nil {
		return err
	}
	m.ProtoReflect().Set(m.ProtoReflect().Descriptor().Fields().ByName("name"), protoreflect.ValueOfString(name))
	var mask *fieldmaskpb.FieldMask
	if len(n.Fields) > 0 {
		mask = &fieldmaskpb.FieldMask{Paths: n.Fields}
	}
	c, err := a.client()
	if err != nil {
		return err
	}
	changed, err := k.update(a, c, m, mask)
	if err != nil {
		return err
	}
	return a.showOne(k, changed)
}

type deleteCommand struct {
	Name  string `arg:"" help:"Its id, its full name, or what people call it."`
	Etag  string `help:"Delete only if this is still its etag."`
	Force bool   `help:"For a studio: also delete what it holds."`
}

// Run deletes a thing.
func (d *deleteCommand) Run(a *app) error {
	k := kindOf(a.noun)
	if d.Force && k.noun != "studio" {
		return faultf("--force is for studios.")
	}
	name, err := a.nameOf(k, d.Name)
	if err != nil {
		return err
	}
	c, err := a.client()
	if err != nil {
		return err
	}
	if err := k.delete(a, c, name, d.Etag, d.Force); err != nil {
		return err
	}
	if a.Format == "table" {
		fmt.Fprintf(a.out, "Deleted %s.\n", name)
	}
	return nil
}

// parentOf is what a thing belongs to.
func parentOf(name string) string {
	parts := strings.Split(name, "/")
	if len(parts) < 4 {
		return ""
	}
	return strings.Join(parts[:len(parts)-2], "/")
}
