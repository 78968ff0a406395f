package main

import (
	"fmt"
	"io"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "github.com/catchline/catchline/proto/catchline/v1"
)

type keysCommands struct {
	List   keysListCommand   `cmd:"" help:"List the keys, without their secrets."`
	Create keysCreateCommand `cmd:"" help:"Make a key. Its secret is shown once."`
	Delete keysDeleteCommand `cmd:"" help:"Revoke a key at once."`
}

type keysListCommand struct{}

// Run lists keys.
func (*keysListCommand) Run(a *app) error {
	c, err := a.client()
	if err != nil {
		return err
	}
	all := &pb.ListKeysResponse{}
	for k, err := range c.AllKeys(a, a.studioName()) {
		if err != nil {
			return err
		}
		all.Keys = append(all.Keys, k)
	}
	return a.show(all, func() *table { return keysTable(all.Keys) }, nil)
}

func keysTable(all []*pb.Key) *table {
	t := &table{head: []string{"key", "name", "role", "expires", "made"}}
	for _, k := range all {
		expires := "never"
		if k.ExpireTime != nil {
			expires = k.ExpireTime.AsTime().Format(time.DateTime)
		}
		t.add(idOf(k.Name), k.DisplayName, word(k.Role, "ROLE_"), expires, k.CreateTime.AsTime().Format(time.DateTime))
	}
	return t
}

type keysCreateCommand struct {
	For   string         `arg:"" help:"What it is for."`
	Role  string         `required:"" enum:"view,record,manage" help:"What it may do: view (read, score, plan), record (also log tiles and keep sheets), manage (also the rest of the studio)."`
	Lasts *time.Duration `placeholder:"DURATION" help:"How long it works, such as 720h. Default: until it is revoked."`
}

// Run makes a key.
func (k *keysCreateCommand) Run(a *app) error {
	r := &pb.CreateKeyRequest{Parent: a.studioName(), Key: &pb.Key{
		DisplayName: k.For, Role: pb.Role(pb.Role_value["ROLE_"+strings.ToUpper(k.Role)]),
	}}
	if k.Lasts != nil {
		r.Key.ExpireTime = timestamppb.New(time.Now().Add(*k.Lasts))
	}
	c, err := a.client()
	if err != nil {
		return err
	}
	made, err := c.Keys.CreateKey(a, r)
	if err != nil {
		return err
	}
	return a.show(made, func() *table {
		t := keysTable([]*pb.Key{made.Key})
		t.head = append(t.head, "secret")
		t.rows[0] = append(t.rows[0], made.Secret)
		return t
	}, func(w io.Writer) error {
		fmt.Fprintln(a.err, "The secret is shown this once; keep it where nobody else reads it.")
		_, err := fmt.Fprintln(w, made.Secret)
		return err
	})
}

type keysDeleteCommand struct {
	ID string `arg:"" help:"Its id."`
}

// Run revokes a key.
func (k *keysDeleteCommand) Run(a *app) error {
	c, err := a.client()
	if err != nil {
		return err
	}
	_, err = c.Keys.DeleteKey(a, &pb.DeleteKeyRequest{Name: full(a.studioName()+"/keys/", k.ID)})
	return err
}
