// What stands in the fields of a form. A number that cannot be read is kept as it was typed, with what is wrong with it, in the
// place where the number would be: so it survives a refresh, and a form that holds one has no value that could be stored.

export interface Unread {
  // The text as it was typed.
  unread: string;
  // What is wrong with it, in words.
  fault: string;
}

export type Entry = number | Unread | undefined;

// The same shape with each number as it stands in its field.
export type Draft<T> = T extends number ? number | Unread : T extends (infer U)[] ? Draft<U>[] : T extends object ? { [K in keyof T]: Draft<T[K]> } : T;

export function isUnread(value: unknown): value is Unread {
  return typeof value === "object" && value !== null && typeof (value as Unread).unread === "string";
}

// The number in a field, if there is one.
export function numberIn(entry: Entry): number | undefined {
  return isUnread(entry) ? undefined : entry;
}

// All that cannot be read in a draft, in the order of its fields.
export function unreadIn(draft: unknown): Unread[] {
  if (isUnread(draft)) return [draft];
  if (typeof draft !== "object" || draft === null) return [];
  return Object.values(draft).flatMap(unreadIn);
}

// The value of a draft; undefined while anything in it cannot be read.
export function whole<T>(draft: Draft<T>): T | undefined {
  return unreadIn(draft).length === 0 ? (draft as unknown as T) : undefined;
}

export interface Limits {
  min?: number;
  max?: number;
  required?: boolean;
  // Shows a number of this field with its unit, for faults.
  show(value: number): string;
  // Reads a text: undefined when empty, NaN for nonsense, a text where it may mean two numbers.
  read(text: string): number | undefined | string;
}

export const needed = "A number is needed here.";

export function readEntry(text: string, { min = -Infinity, max = Infinity, required, show, read }: Limits): Entry {
  const got = read(text);
  const unread = (fault: string): Unread => ({ unread: text, fault });
  if (got === undefined) return required ? unread(needed) : undefined;
  if (typeof got === "string") return unread(got);
  if (Number.isNaN(got)) return unread("Not a number.");
  if (got > max) return unread(`At most ${show(max)}.`);
  if (got < min) return unread(`At least ${show(min)}.`);
  return got;
}

// An entry in another unit, such as a share in percent.
export function scaled(entry: Entry, factor: number): Entry {
  return typeof entry === "number" ? entry * factor : entry;
}
