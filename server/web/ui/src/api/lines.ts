// Cuts a stream of bytes into the lines that are not empty.
export async function* lines(body: ReadableStream<Uint8Array>): AsyncGenerator<string> {
  const reader = body.getReader();
  const decoder = new TextDecoder();
  let rest = "";
  try {
    for (;;) {
      const { done, value } = await reader.read();
      rest += decoder.decode(value, { stream: !done });
      const whole = rest.split("\n");
      rest = done ? "" : (whole.pop() ?? "");
      for (const line of whole) if (line.trim() !== "") yield line;
      if (done) return;
    }
  } finally {
    reader.cancel().catch(() => undefined);
  }
}
