// Lengths are millimetres everywhere but in front of the reader's eyes; this file is the one place that converts.

export type LengthUnit = "mm" | "in";

// One inch is 25.4 mm exactly (international yard and pound agreement, 1959; NIST SP 811, appendix B).
const MM_PER_INCH = 25.4;

export function toShown(mm: number, unit: LengthUnit): number {
  return unit === "in" ? mm / MM_PER_INCH : mm;
}

export function fromShown(shown: number, unit: LengthUnit): number {
  return unit === "in" ? shown * MM_PER_INCH : shown;
}

// The number alone, with as many places as a ruler in a studio can be read to.
export function lengthNumber(mm: number, unit: LengthUnit): string {
  const shown = toShown(mm, unit);
  const places = unit === "in" ? 2 : Math.abs(shown) < 9.95 ? 1 : 0;
  const text = shown.toFixed(places);
  return Number(text) === 0 ? (0).toFixed(places) : text;
}

// A length that somebody measured, as it was written down: 11.5 stays 11.5.
export function measured(mm: number, unit: LengthUnit): string {
  return `${measuredNumber(mm, unit)}\u00a0${unit}`;
}

export function measuredNumber(mm: number, unit: LengthUnit): string {
  return fieldText(toShown(mm, unit), unit === "in" ? 3 : 2);
}

export function length(mm: number, unit: LengthUnit): string {
  return `${lengthNumber(mm, unit)}\u00a0${unit}`;
}

// A sentence of the service, which speaks in millimetres, for a reader who does not.
export function inReadersUnit(sentence: string, unit: LengthUnit): string {
  if (unit === "mm") return sentence;
  return sentence.replace(/(\d+(?:\.\d+)?)(?:( to | and )(\d+(?:\.\d+)?))?[ \u00a0]mm(?![²³\w])/g, (_, low: string, between?: string, high?: string) =>
    between && high ? lengthNumber(Number(low), unit) + between + length(Number(high), unit) : length(Number(low), unit),
  );
}

// Reads what a hand types: a comma or a point, spaces, nothing else. Undefined for an empty field, NaN for nonsense. A comma before
// three digits may stand for thousands or for a point: that is said instead of guessed.
export function readNumber(text: string): number | string | undefined {
  const trimmed = text.trim();
  if (trimmed === "") return undefined;
  const thousands = /^([-+]?[1-9]\d{0,2}),(\d{3})$/.exec(trimmed);
  if (thousands) return `Is that ${thousands[1]}${thousands[2]} or ${thousands[1]}.${thousands[2]}? Write it without the comma.`;
  const plain = trimmed.replace(",", ".");
  return /^[-+]?(\d+\.?\d*|\.\d+)$/.test(plain) ? Number(plain) : NaN;
}

// Reads a length in the reader's unit into millimetres. Inches may be a fraction, as on a ruler: 1 3/8.
export function readLength(text: string, unit: LengthUnit): number | string | undefined {
  const fraction = unit === "in" ? /^(?:(\d+)[ -]+)?(\d+)\/([1-9]\d*)(?: ?(?:in|″|"))?$/.exec(text.trim()) : null;
  const read = fraction ? Number(fraction[1] ?? 0) + Number(fraction[2]) / Number(fraction[3]) : readNumber(text);
  return typeof read === "number" ? fromShown(read, unit) : read;
}

// A number for an input field: at most `places` places, no trailing zeros.
export function fieldText(value: number | undefined, places = 3): string {
  return value === undefined ? "" : String(Number(value.toFixed(places)));
}

export function percent(share: number): string {
  const p = share * 100;
  if (p > 0 && p < 1) return "under 1\u00a0%";
  if (p > 99 && p < 100) return "over 99\u00a0%";
  return `${Math.round(p)}\u00a0%`;
}
