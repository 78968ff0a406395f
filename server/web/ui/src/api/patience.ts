// A busy server says when to come again; the pages do, before they bother anybody with it. Every write carries a request
// id and everything else may be asked twice, so that asking again does no harm.

const TRIES = 4;
const LONGEST_WAIT_S = 3;

export async function patientFetch(request: Request): Promise<Response> {
  for (let attempt = 1; ; attempt++) {
    const response = await fetch(request.clone());
    const busy = response.status === 429 || response.status === 503;
    if (!busy || attempt === TRIES) return response;
    const seconds = Number(response.headers.get("Retry-After")) || 1;
    await pause(Math.min(seconds, LONGEST_WAIT_S) * 1000, request.signal);
  }
}

function pause(ms: number, signal: AbortSignal): Promise<void> {
  return new Promise((resolve, reject) => {
    const stop = () => {
      clearTimeout(timer);
      reject(new DOMException("given up", "AbortError"));
    };
    const timer = setTimeout(() => {
      signal.removeEventListener("abort", stop);
      resolve();
    }, ms);
    if (signal.aborted) stop();
    else signal.addEventListener("abort", stop, { once: true });
  });
}
