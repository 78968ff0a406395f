// The address bar is the state: every page can be linked to, sent and reloaded.
import { computed, signal } from "@preact/signals";

export const pages = ["score", "sheet", "tiles", "shelf", "record", "glazes", "firings", "wares", "studio"] as const;
export type Page = (typeof pages)[number];

const here = signal(new URL(location.href));
addEventListener("popstate", () => (here.value = new URL(location.href)));

export interface Route {
  studio: string;
  page: Page | "";
  // What follows the page's name, such as a glaze's id.
  item: string;
  query: URLSearchParams;
  hash: string;
  // True for an address at which there is no page.
  unknown: boolean;
}

// An address that was cut in the middle of a letter is taken as it stands.
function decoded(part: string): string {
  try {
    return decodeURIComponent(part);
  } catch {
    return part;
  }
}

export const route = computed<Route>(() => {
  const [, root, studio = "", page = "", item = "", ...more] = here.value.pathname.split("/").map(decoded);
  return {
    studio: root === "studios" ? studio : "",
    page: (pages as readonly string[]).includes(page) ? (page as Page) : "",
    item,
    query: here.value.searchParams,
    hash: here.value.hash.slice(1),
    unknown: (root !== "" && root !== "studios") || (page !== "" && !(pages as readonly string[]).includes(page)) || more.some((part) => part !== ""),
  };
});

export function address(studio: string, page: Page, item = "", query?: URLSearchParams): string {
  const path = `/studios/${encodeURIComponent(studio)}/${page}${item ? "/" + encodeURIComponent(item) : ""}`;
  const search = query?.toString() ?? "";
  return search ? `${path}?${search}` : path;
}

export function go(to: string, how: "push" | "replace" = "push") {
  const next = new URL(to, location.href);
  if (next.href === here.value.href) return;
  if (how === "push") history.pushState(null, "", next);
  else history.replaceState(null, "", next);
  here.value = next;
}

// Follows links inside the pages without loading them anew.
export function followLinks() {
  addEventListener("click", (event) => {
    if (event.defaultPrevented || event.button !== 0 || event.ctrlKey || event.metaKey || event.shiftKey || event.altKey) return;
    const link = (event.target as Element | null)?.closest?.("a");
    if (!link || link.target || link.hasAttribute("download") || link.origin !== location.origin) return;
    const url = new URL(link.href);
    if (!url.pathname.startsWith("/studios") && url.pathname !== "/") return;
    // Within the page the browser itself knows the way.
    if (url.pathname === location.pathname && url.search === location.search && url.hash) return;
    event.preventDefault();
    go(url.href);
    scrollTo(0, 0);
    document.getElementById("main")?.focus({ preventScroll: true });
  });
}
