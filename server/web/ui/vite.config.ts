import { createHash } from "node:crypto";
import { readFileSync } from "node:fs";
import { defineConfig, type Plugin } from "vite";

// The service worker is a file of its own beside the pages: it holds the names of what was built, and a version that
// depends on their content alone.
function serviceWorker(): Plugin {
  return {
    name: "service-worker",
    apply: "build",
    enforce: "post",
    generateBundle(_, bundle) {
      const built = Object.values(bundle).filter((file) => !file.fileName.endsWith(".map"));
      const shell = ["/", "/mark.svg", ...built.map((file) => "/" + file.fileName).filter((name) => name.startsWith("/assets/"))].sort();
      const source = readFileSync("src/worker.js", "utf8");
      const version = createHash("sha256");
      version.update(source).update(readFileSync("public/mark.svg"));
      for (const file of built.sort((a, b) => (a.fileName < b.fileName ? -1 : 1))) version.update(file.fileName).update(file.type === "chunk" ? file.code : file.source);
      this.emitFile({
        type: "asset",
        fileName: "worker.js",
        source: source.replace("__VERSION__", JSON.stringify(version.digest("hex").slice(0, 16))).replace("__SHELL__", JSON.stringify(shell)),
      });
    },
  };
}

// The built pages are committed under dist and embedded, so names depend on content alone and nothing is inlined: the
// Content-Security-Policy of the handler allows no inline script or style.
export default defineConfig({
  plugins: [serviceWorker()],
  build: {
    outDir: "../dist",
    emptyOutDir: true,
    assetsInlineLimit: 0,
    modulePreload: { polyfill: false },
    target: "es2022",
  },
  server: { proxy: { "/v1": "http://127.0.0.1:8080" } },
});
