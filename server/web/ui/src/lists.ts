// What a studio has, read once and shared by the pages.
import { signal, type Signal } from "@preact/signals";
import { answer, api, keyTurn } from "./api/client";
import { Problem } from "./api/problem";
import type { Body, Calibration, Firing, Glaze, Key, Lot, Material, Sheet, Studio, Ware } from "./api/types";

export type Loaded<T> =
  | { state: "loading" }
  | { state: "failed"; problem: Problem }
  | { state: "ready"; value: T };

export class Resource<T> {
  readonly loaded: Signal<Loaded<T>> = signal<Loaded<T>>({ state: "loading" });
  private asked = false;
  private round = 0;
  constructor(private readonly read: () => Promise<T>) {}

  // Asks on first use.
  get value(): Loaded<T> {
    if (!this.asked) void this.reload();
    return this.loaded.value;
  }

  async reload() {
    this.asked = true;
    const round = ++this.round;
    let next: Loaded<T>;
    try {
      next = { state: "ready", value: await this.read() };
    } catch (cause) {
      next = { state: "failed", problem: cause instanceof Problem ? cause : new Problem(0, String(cause)) };
    }
    if (round === this.round) this.loaded.value = next;
  }
}

interface Page<T> {
  items: T[];
  next: string | undefined;
  damaged: string[] | undefined; // names of records that are left out because they can no longer be read
}

// Every record that a list has left out since these pages were opened.
export const damaged = signal<ReadonlySet<string>>(new Set());

export function noteDamage(names: string[] | undefined) {
  if (names?.some((name) => !damaged.value.has(name))) damaged.value = new Set([...damaged.value, ...names]);
}

async function everyPage<T>(read: (pageToken: string) => Promise<Page<T>>): Promise<T[]> {
  const all: T[] = [];
  let token = "";
  do {
    const page = await read(token);
    all.push(...page.items);
    noteDamage(page.damaged);
    token = page.next ?? "";
  } while (token !== "");
  return all;
}

const pageSize = 1000;

function list<T>(read: (parent: string, query: { pageSize: number; pageToken?: string }) => Promise<Page<T>>) {
  const kept = new Map<string, Resource<T[]>>();
  return (studio: string): Resource<T[]> => {
    let resource = kept.get(studio);
    if (!resource) {
      resource = new Resource(() => everyPage((pageToken) => read(studio, pageToken ? { pageSize, pageToken } : { pageSize })));
      kept.set(studio, resource);
      everything.push(resource as Resource<unknown>);
    }
    return resource;
  };
}

const everything: Resource<unknown>[] = [];
keyTurn.subscribe((turn) => {
  if (turn > 0) for (const resource of everything) void resource.reload();
});

export const studios = list<Studio>(async (_, query) => {
  const got = await answer(api.GET("/v1/studios", { params: { query } }));
  return { items: got.studios ?? [], next: got.nextPageToken, damaged: got.unreadable };
});

export const glazes = list<Glaze>(async (parent, query) => {
  const got = await answer(api.GET("/v1/studios/{studio}/glazes", { params: { path: { studio: parent }, query } }));
  return { items: got.glazes ?? [], next: got.nextPageToken, damaged: got.unreadable };
});

export const bodies = list<Body>(async (parent, query) => {
  const got = await answer(api.GET("/v1/studios/{studio}/bodies", { params: { path: { studio: parent }, query } }));
  return { items: got.bodies ?? [], next: got.nextPageToken, damaged: got.unreadable };
});

export const firings = list<Firing>(async (parent, query) => {
  const got = await answer(api.GET("/v1/studios/{studio}/firings", { params: { path: { studio: parent }, query } }));
  return { items: got.firings ?? [], next: got.nextPageToken, damaged: got.unreadable };
});

export const wares = list<Ware>(async (parent, query) => {
  const got = await answer(api.GET("/v1/studios/{studio}/wares", { params: { path: { studio: parent }, query } }));
  return { items: got.wares ?? [], next: got.nextPageToken, damaged: got.unreadable };
});

export const sheets = list<Sheet>(async (parent, query) => {
  const got = await answer(api.GET("/v1/studios/{studio}/sheets", { params: { path: { studio: parent }, query } }));
  return { items: got.sheets ?? [], next: got.nextPageToken, damaged: got.unreadable };
});

export const calibrations = list<Calibration>(async (parent, query) => {
  const got = await answer(api.GET("/v1/studios/{studio}/calibrations", { params: { path: { studio: parent }, query } }));
  return { items: got.calibrations ?? [], next: got.nextPageToken, damaged: got.unreadable };
});

export const materials = list<Material>(async (parent, query) => {
  const got = await answer(
    api.GET("/v1/studios/{studio}/materials", { params: { path: { studio: parent }, query: { ...query, includeBuiltIn: true } } }),
  );
  return { items: got.materials ?? [], next: got.nextPageToken, damaged: got.unreadable };
});

export const keys = list<Key>(async (parent, query) => {
  const got = await answer(api.GET("/v1/studios/{studio}/keys", { params: { path: { studio: parent }, query } }));
  return { items: got.keys ?? [], next: got.nextPageToken, damaged: got.unreadable };
});

// Lots by "studio/glaze".
export const lots = list<Lot>(async (studioAndGlaze, query) => {
  const [studio = "", glaze = ""] = studioAndGlaze.split("/");
  const got = await answer(
    api.GET("/v1/studios/{studio}/glazes/{glaze}/lots", { params: { path: { studio, glaze }, query } }),
  );
  return { items: got.lots ?? [], next: got.nextPageToken, damaged: got.unreadable };
});

// The items where they are ready, none before.
export function ready<T>(resource: Resource<T[]>): T[] {
  const loaded = resource.value;
  return loaded.state === "ready" ? loaded.value : [];
}
