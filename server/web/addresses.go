package web

// pages are those of a studio. A test holds them to the list that the application goes by, in ui/src/route.ts.
var pages = []string{"score", "sheet", "tiles", "shelf", "record", "glazes", "firings", "wares", "studio"}

// addresses are the patterns of the addresses of all pages, which can be linked to, sent and reloaded. What follows a page's name, such as a
// glaze's id, is the page's own to know.
func addresses() []string {
	all := []string{"/{$}", "/index.html", "/studios", "/studios/{$}", "/studios/{studio}", "/studios/{studio}/{$}"}
	for _, page := range pages {
		at := "/studios/{studio}/" + page
		all = append(all, at, at+"/{$}", at+"/{item}")
	}
	return all
}
