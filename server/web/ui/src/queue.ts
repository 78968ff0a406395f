// Tiles that were logged and that the server has not yet taken. They are kept in the browser's storage, so that neither a
// lost network nor a closed page loses one, and are sent again under the request id they were made with, so that a tile
// that did arrive the first time is not logged twice.
import type { Tile } from "./api/types";

export interface Pending {
  requestId: string;
  studio: string;
  tile: Tile;
  // When it was logged, in milliseconds since 1970.
  loggedAt: number;
  // Why the server refused it; it is then kept until it is mended or dropped.
  refused?: string;
}

// What became of one attempt.
export type Outcome = { sent: true } | { sent: false; passing: boolean; why: string };

export interface Ports {
  storage: Pick<Storage, "getItem" | "setItem">;
  send(pending: Pending): Promise<Outcome>;
  // Told after every change.
  changed(all: Pending[]): void;
  now(): number;
}

const KEY = "catchline.pending";

export class Queue {
  private sending: Promise<void> | null = null;
  constructor(private readonly ports: Ports) {}

  all(): Pending[] {
    try {
      const stored: unknown = JSON.parse(this.ports.storage.getItem(KEY) ?? "[]");
      return Array.isArray(stored) ? (stored as Pending[]) : [];
    } catch {
      return [];
    }
  }

  private write(all: Pending[]) {
    this.ports.storage.setItem(KEY, JSON.stringify(all));
    this.ports.changed(all);
  }

  // Keeps a tile first and only then lets it be sent.
  add(requestId: string, studio: string, tile: Tile) {
    this.write([...this.all(), { requestId, studio, tile, loggedAt: this.ports.now() }]);
  }

  drop(requestId: string) {
    this.write(this.all().filter((p) => p.requestId !== requestId));
  }

  // Sends what is kept, oldest first; stops at the first attempt that may succeed later. One round at a time.
  flush(): Promise<void> {
    this.sending ??= this.round().finally(() => (this.sending = null));
    return this.sending;
  }

  private async round() {
    for (;;) {
      const next = this.all().find((p) => p.refused === undefined);
      if (!next) return;
      const outcome = await this.ports.send(next);
      if (outcome.sent) this.drop(next.requestId);
      else if (outcome.passing) return;
      else this.write(this.all().map((p) => (p.requestId === next.requestId ? { ...p, refused: outcome.why } : p)));
    }
  }
}
