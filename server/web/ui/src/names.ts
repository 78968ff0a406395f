// Resource names: studios/{studio}/glazes/{glaze} and the like. Pages keep ids, the interface wants names.

export function idOf(name: string | undefined): string {
  return name?.split("/").pop() ?? "";
}

export function nameOf(studio: string, collection: string, id: string): string {
  return `studios/${studio}/${collection}/${id}`;
}

export function lotName(studio: string, glaze: string, lot: string): string {
  return `studios/${studio}/glazes/${glaze}/lots/${lot}`;
}
