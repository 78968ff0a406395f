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
