// Hands a text to the reader as a file.
export function download(name: string, type: string, parts: BlobPart[]) {
  const url = URL.createObjectURL(new Blob(parts, { type }));
  const link = document.createElement("a");
  link.href = url;
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(url), 60_000);
}

// What a spreadsheet would run as a formula or a program: some take blanks away first, and some take the wide forms of East Asian keyboards
// for the plain ones. The server's export goes by the same rule.
const formula = /^[\t\r]|^\s*[=+\-@|＝＋－＠｜]/;

// One line of CSV (RFC 4180). A text that a spreadsheet would take for a formula is given a leading quote.
export function csvLine(cells: (string | number)[]): string {
  const cell = (c: string | number) => {
    if (typeof c === "number") return String(c);
    const safe = formula.test(c) ? "'" + c : c;
    return /[",\r\n]/.test(safe) ? `"${safe.replaceAll('"', '""')}"` : safe;
  };
  return cells.map(cell).join(",") + "\r\n";
}
