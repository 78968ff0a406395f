// Two versions of what a form holds, compared and said in words.
import { isUnread } from "./entries";

// What the fields of a form are called.
export interface Labels {
  [key: string]: string;
}

// The fields in which two versions differ.
export function differing(theirs: object, mine: object): string[] {
  const text = (of: object, key: string) => JSON.stringify((of as Labels)[key] ?? null);
  return [...new Set([...Object.keys(theirs), ...Object.keys(mine)])].filter((key) => key !== "etag" && text(theirs, key) !== text(mine, key));
}

// A value as somebody reads it who knows the form: "silica 20, whiting 14".
export function inWords(value: unknown): string {
  if (value === undefined || value === null || value === "") return "empty";
  if (isUnread(value)) return value.unread || "empty";
  if (typeof value === "boolean") return value ? "yes" : "no";
  if (typeof value === "string") return /^[A-Z]+(_[A-Z]+)+$/.test(value) ? value.split("_").pop()!.toLowerCase() : value.replace(/^studios\/.*\//, "");
  if (Array.isArray(value)) return value.length === 0 ? "none" : value.map(inWords).join(", ");
  if (typeof value === "object") {
    const parts = Object.entries(value).filter(([, v]) => v !== undefined);
    if (parts.length === 0) return "yes";
    const named = "material" in value || "glaze" in value;
    return parts.map(([key, v]) => (named ? inWords(v) : `${spelt(key)} ${inWords(v)}`)).join(named ? " " : ", ");
  }
  return String(value);
}

// holdMin becomes "hold min"; an oxide stays as it is.
export function spelt(key: string): string {
  return /^[a-z]/.test(key) ? key.replace(/[A-Z]/g, (c) => " " + c.toLowerCase()) : key;
}
