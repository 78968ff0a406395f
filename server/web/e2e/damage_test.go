package e2e

import (
	"database/sql"
	"testing"

	"github.com/chromedp/chromedp"

	"github.com/catchline/catchline/server/config"
)

// A glaze whose bytes have changed on the disk is left out of the lists, and the pages name it.
func TestDamagedRecordsAreNamed(t *testing.T) {
	var file string
	s := startServer(t, func(c *config.Config) { file = string(c.Store) })
	s.invent(t, "north", 0)
	db, err := sql.Open("sqlite", "file:"+file+"?_pragma=busy_timeout(5000)")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	const flip = `UPDATE record SET data = CAST(replace(CAST(data AS BLOB), CAST('Honey' AS BLOB), CAST('Money' AS BLOB)) AS BLOB)
		WHERE kind = 'glaze' AND id = 'honey-run'`
	changed, err := db.ExecContext(t.Context(), flip)
	if err != nil {
		t.Fatal(err)
	}
	if n, err := changed.RowsAffected(); n != 1 || err != nil {
		t.Fatal(n, err)
	}
	ctx := window(t, desk)
	do(t, ctx, chromedp.Navigate(s.url+"/studios/north/glazes"), shows("Bone white"),
		until(`document.querySelector('aside[aria-label="Damaged records"]')?.innerText.startsWith('One record of this studio can no longer be read and is left out: glazes/honey-run.')`))
}
