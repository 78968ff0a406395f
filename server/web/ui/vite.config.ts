import { defineConfig } from "vite";

// The built pages are committed under dist and embedded, so names depend on content alone and nothing is inlined: the
// Content-Security-Policy of the handler allows no inline script or style.
export default defineConfig({
  build: {
    outDir: "../dist",
    emptyOutDir: true,
    assetsInlineLimit: 0,
    modulePreload: { polyfill: false },
    target: "es2022",
  },
  server: { proxy: { "/v1": "http://127.0.0.1:8080" } },
});
