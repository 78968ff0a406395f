// Resource names: studios/{studio}/glazes/{glaze} and the like. Pages keep ids, the interface wants names.

export function idOf(name: string | undefined): string {
  return name?.split("/").pop() ?? "";
}

export function nameOf(studio: string, collection: string, id: string): string {
  return `studios/${studio}/${collection}/${id}`;
}

// An enum value, with what the contract takes where nothing was said.
export function said<T extends string>(value: T | undefined, otherwise: T): T {
  return value === undefined || value.endsWith("_UNSPECIFIED") ? otherwise : value;
}

export function lotName(studio: string, glaze: string, lot: string): string {
  return `studios/${studio}/glazes/${glaze}/lots/${lot}`;
}

// The things of a list as somebody chooses among them. Where two have one name, more is shown of each: its id and what else is known.
export function optionsOf<T extends { name?: string; displayName?: string }>(all: T[], more: (item: T) => string = () => ""): { value: string; text: string }[] {
  const folded = (item: T) => nameFolded(item.displayName ?? "");
  const count = new Map<string, number>();
  for (const item of all) count.set(folded(item), (count.get(folded(item)) ?? 0) + 1);
  return all.map((item) => {
    const id = idOf(item.name);
    const name = item.displayName || id;
    return { value: id, text: count.get(folded(item))! > 1 ? `${name} (${[id, more(item)].filter(Boolean).join("; ")})` : name };
  });
}

// Names as people compare them: without regard to case and blanks.
export function nameFolded(name: string): string {
  return name.trim().replace(/\s+/g, " ").toLowerCase();
}
