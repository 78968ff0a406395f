// Faults of the server name fields by their paths in the contract; people know them by what stands beside them.

const named: { [part: string]: string } = {
  display_name: "name",
  ingredients: "line",
  layers: "layer",
  segments: "segment",
  lower_bands: "buffer",
  pieces: "piece",
  loi_percent: "loss on ignition",
  oxides_percent: "analysis",
  moles: "formula",
  band_height_mm: "band height",
  clearance_mm: "bare wall",
  run_mm: "longest drip",
  final_ramp_c_per_h: "ramp of the last 100 °C",
};

// What holds a field but says nothing of where it is.
const silent = new Set(["glaze", "firing", "ware", "tile", "studio", "lot", "body", "material", "sheet", "score", "recipe", "layering", "plan", "settings", "placement", "shape", "cone", "segments", "firing_plan"]);

// glaze.recipe.ingredients[4].material becomes "material in line 5".
export function fieldWords(path: string): string {
  const parts = path.split(".").flatMap((part, i, all) => {
    const [, name = part, index, key] = /^(\w+)(?:\[(\d+)\]|\["?(\w+)"?\])?$/.exec(part) ?? [];
    if (index === undefined && key === undefined && silent.has(name) && i < all.length - 1) return [];
    const word = named[name] ?? name.replace(/_(mm|um|c|min|percent|c_per_h|deg|uri|g_per_cm2)$/, "").replaceAll("_", " ");
    return [index !== undefined ? `${word} ${Number(index) + 1}` : key !== undefined ? `${key} in the ${word}` : word];
  });
  return parts.reverse().join(" in ");
}

// A sentence of the server with the paths in it as words.
export function withoutPaths(sentence: string, paths: string[]): string {
  return [...paths].sort((a, b) => b.length - a.length).reduce((text, path) => (/[.[_]/.test(path) ? text.replaceAll(path, fieldWords(path)) : text), sentence);
}
