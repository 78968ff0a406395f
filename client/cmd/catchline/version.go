package main

import (
	"fmt"

	"github.com/catchline/catchline/client"
)

type versionCommand struct{}

// Run says the version of the program.
func (*versionCommand) Run(a *app) error {
	_, err := fmt.Fprintln(a.out, client.Version())
	return err
}
