package process

import (
	"database/sql"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/config"
)

func TestBackupOfARunningServerAndRestore(t *testing.T) {
	s := start(t, nil)
	studios := pb.NewStudioServiceClient(s.conn)
	if _, err := studios.CreateStudio(t.Context(), &pb.CreateStudioRequest{StudioId: "kept", Studio: &pb.Studio{DisplayName: "Kept"}}); err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	backup := filepath.Join(dir, "backup.db")
	if err := Backup(t.Context(), s.config, backup, io.Discard); err != nil {
		t.Fatal(err)
	}
	if err := Backup(t.Context(), s.config, backup, io.Discard); err == nil {
		t.Error("a backup was overwritten")
	}
	if info, err := os.Stat(backup); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("others can read the backup: %v, %v", info.Mode(), err)
	}
	if err := Restore(t.Context(), s.config, backup, true, io.Discard); err != nil {
		t.Errorf("the check: %v", err)
	}
	if err := Restore(t.Context(), s.config, backup, false, io.Discard); err == nil || !strings.Contains(err.Error(), "nothing is overwritten") {
		t.Errorf("over a database that is there: %v", err)
	}
	restored := config.Default()
	restored.Store = config.Database(filepath.Join(dir, "restored.db"))
	if err := Restore(t.Context(), restored, backup, false, io.Discard); err != nil {
		t.Fatal(err)
	}
	r := start(t, nil, func(c *config.Config) { c.Store, c.Create = restored.Store, false })
	if got, err := pb.NewStudioServiceClient(r.conn).GetStudio(t.Context(), &pb.GetStudioRequest{Name: "studios/kept"}); err != nil || got.DisplayName != "Kept" {
		t.Errorf("after the restore: %v, %v", got, err)
	}
	damaged := filepath.Join(dir, "damaged.db")
	text, err := os.ReadFile(backup)
	if err != nil {
		t.Fatal(err)
	}
	for i := 4096; i < len(text); i++ {
		text[i] ^= 0x55
	}
	put(t, damaged, text)
	restored.Store = config.Database(filepath.Join(dir, "never.db"))
	if err := Restore(t.Context(), restored, damaged, false, io.Discard); err == nil {
		t.Error("a damaged backup was restored")
	}
	if _, err := os.Stat(string(restored.Store)); err == nil {
		t.Error("a damaged backup left a file")
	}
}

// PostgreSQL has programs of its own, which the commands name, without showing a password.
func TestBackupOfPostgreSQLNamesItsPrograms(t *testing.T) {
	c := config.Default()
	c.Store = "postgres://u:hunter2@h/d"
	for want, err := range map[string]error{
		"pg_dump --format=custom --file=x.dump":     Backup(t.Context(), c, "x.dump", io.Discard),
		"pg_restore --no-owner --dbname=URL x.dump": Restore(t.Context(), c, "x.dump", false, io.Discard),
	} {
		if err == nil || !strings.Contains(err.Error(), want) || strings.Contains(err.Error(), "hunter2") {
			t.Errorf("%v; want %q in it", err, want)
		}
	}
}

// A single damaged record: the running server's lists name it, all three commands that read the whole database name it too, and a backup and
// a restore keep the rest.
func TestOneDamagedRecord(t *testing.T) {
	s := start(t, nil)
	studios := pb.NewStudioServiceClient(s.conn)
	for _, id := range []string{"kept", "lost"} {
		if _, err := studios.CreateStudio(t.Context(), &pb.CreateStudioRequest{StudioId: id, Studio: &pb.Studio{DisplayName: "Of some length " + id}}); err != nil {
			t.Fatal(err)
		}
	}
	var said strings.Builder
	if err := Check(t.Context(), s.config, &said); err != nil || !strings.Contains(said.String(), "is whole") {
		t.Errorf("the check says %q, %v", &said, err)
	}
	db, err := sql.Open("sqlite", "file:"+string(s.config.Store)+"?_pragma=busy_timeout(5000)")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	const flip = `UPDATE record SET data = CAST(replace(CAST(data AS BLOB), CAST('length lost' AS BLOB), CAST('length lose' AS BLOB)) AS BLOB)
		WHERE kind = 'studio' AND id = 'lost'`
	if changed, err := db.ExecContext(t.Context(), flip); err != nil {
		t.Fatal(err)
	} else if n, err := changed.RowsAffected(); n != 1 || err != nil {
		t.Fatal(n, err)
	}
	list, err := studios.ListStudios(t.Context(), &pb.ListStudiosRequest{})
	if err != nil || len(list.Studios) != 1 || len(list.Unreadable) != 1 || list.Unreadable[0] != "studios/lost" {
		t.Errorf("the list is %v, %v", list, err)
	}
	dir := t.TempDir()
	backup := filepath.Join(dir, "backup.db")
	restored := config.Default()
	restored.Store = config.Database(filepath.Join(dir, "restored.db"))
	for what, err := range map[string]error{
		"check":   Check(t.Context(), s.config, io.Discard),
		"backup":  Backup(t.Context(), s.config, backup, io.Discard),
		"--check": Restore(t.Context(), s.config, backup, true, io.Discard),
		"restore": Restore(t.Context(), restored, backup, false, io.Discard),
	} {
		if err == nil || !strings.Contains(err.Error(), "1 record is damaged: _/studio/lost") {
			t.Errorf("%s says %v", what, err)
		}
	}
	r := start(t, nil, func(c *config.Config) { c.Store, c.Create = restored.Store, false })
	if got, err := pb.NewStudioServiceClient(r.conn).GetStudio(t.Context(), &pb.GetStudioRequest{Name: "studios/kept"}); err != nil {
		t.Errorf("after the restore: %v, %v", got, err)
	}
}
