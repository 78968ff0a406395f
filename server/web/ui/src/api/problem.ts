// Why a request failed, for people.

export interface FieldProblem {
  field: string;
  description: string;
}

export class Problem extends Error {
  constructor(
    // HTTP status; 0 when the server was not reached.
    readonly status: number,
    message: string,
    readonly fields: FieldProblem[] = [],
    // Somebody else changed the thing after it was read.
    readonly outdated = false,
    // How many faults there are besides the fields.
    readonly more = 0,
  ) {
    super(message);
  }

  // True when the same request may succeed later: no network, too many requests, server down or key wanted.
  get passing(): boolean {
    return this.status === 0 || this.status === 401 || this.status === 408 || this.status === 429 || this.status >= 500;
  }
}

interface StatusDetail {
  "@type"?: string;
  reason?: string;
  metadata?: Record<string, string>;
  fieldViolations?: { field?: string; description?: string }[];
}

export function problemOf(status: number, body: unknown): Problem {
  const said = (body ?? {}) as { message?: unknown; details?: unknown };
  const details = Array.isArray(said.details) ? (said.details as StatusDetail[]) : [];
  const fields = details
    .flatMap((detail) => detail.fieldViolations ?? [])
    .map(({ field = "", description = "" }) => ({ field, description }));
  const message = typeof said.message === "string" && said.message !== "" ? said.message : `The server answered ${status}.`;
  const more = Number(details.find((detail) => detail.metadata?.more_faults)?.metadata?.more_faults ?? 0);
  return new Problem(status, message, fields, details.some((detail) => detail.reason === "ETAG_MISMATCH"), more);
}
