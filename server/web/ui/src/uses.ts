// What depends on a thing, asked before it is deleted.
import { answer, api } from "./api/client";
import type { Sheet, Tile } from "./api/types";
import { glazes, lots, ready, sheets, type Resource } from "./lists";
import { idOf } from "./names";

const page = 1000;

function counted(n: number, one: string, many: string): string {
  return `${n.toLocaleString()} ${n === 1 ? one : many}`;
}

async function tilesThat(studio: string, filter: { glaze?: string; firing?: string }, uses: (tile: Tile) => boolean = () => true): Promise<string[]> {
  const got = await answer(api.GET("/v1/studios/{studio}/tiles", { params: { path: { studio }, query: { pageSize: page, ...filter } } }));
  const n = (got.tiles ?? []).filter(uses).length;
  if (n === 0) return [];
  return [`${got.nextPageToken ? "At least " : ""}${counted(n, "tile", "tiles")}: what was measured and the composition of the day stay.`];
}

async function whenRead<T>(list: Resource<T[]>): Promise<T[]> {
  if (list.value.state !== "ready") await list.reload();
  return ready(list);
}

async function sheetsThat(studio: string, uses: (sheet: Sheet) => boolean): Promise<string[]> {
  const found = (await whenRead(sheets(studio))).filter(uses);
  if (found.length === 0) return [];
  return [`${counted(found.length, "sheet", "sheets")}, which can no longer be scored: ${found.map((s) => s.displayName ?? idOf(s.name)).join(", ")}.`];
}

const mentions = (thing: unknown, name: string) => JSON.stringify(thing).includes(JSON.stringify(name));

export async function usesOfGlaze(studio: string, name: string): Promise<string[]> {
  const own = await whenRead(lots(`${studio}/${idOf(name)}`));
  return [
    ...(own.length > 0 ? [`${counted(own.length, "lot", "lots")}, deleted with it: ${own.map((l) => l.displayName ?? idOf(l.name)).join(", ")}.`] : []),
    ...(await tilesThat(studio, { glaze: name })),
    ...(await sheetsThat(studio, (s) => mentions(s, name))),
  ];
}

export async function usesOfFiring(studio: string, name: string): Promise<string[]> {
  return [...(await tilesThat(studio, { firing: name })), ...(await sheetsThat(studio, (s) => mentions(s, name)))];
}

// Wares and bodies.
export async function usesOf(studio: string, name: string): Promise<string[]> {
  return [...(await tilesThat(studio, {}, (t) => mentions(t, name))), ...(await sheetsThat(studio, (s) => mentions(s, name)))];
}

export async function usesOfLot(studio: string, glaze: string, name: string): Promise<string[]> {
  return [...(await tilesThat(studio, { glaze }, (t) => mentions(t, name))), ...(await sheetsThat(studio, (s) => mentions(s, name)))];
}

export async function usesOfMaterial(studio: string, called: string): Promise<string[]> {
  const using = (await whenRead(glazes(studio))).filter((g) => g.recipe?.ingredients?.some((i) => i.material?.trim().toLowerCase() === called.trim().toLowerCase()));
  if (using.length === 0) return [];
  return [`The recipes of ${using.map((g) => g.displayName ?? idOf(g.name)).join(", ")}. The server refuses to delete it until they use another material.`];
}
