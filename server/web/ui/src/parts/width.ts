import { signal } from "@preact/signals";
import type { RefObject } from "preact";
import { useLayoutEffect, useState } from "preact/hooks";

// Width of an element in CSS pixels, so that drawings keep their type size on every screen.
export function useWidth(element: RefObject<HTMLElement | null>, before: number): number {
  const [width, setWidth] = useState(before);
  useLayoutEffect(() => {
    if (!element.current) return;
    const observer = new ResizeObserver(([entry]) => entry && setWidth(Math.max(240, Math.round(entry.contentRect.width))));
    observer.observe(element.current);
    return () => observer.disconnect();
  }, []);
  return width;
}

const phone = matchMedia("(max-width: 40rem)");

// True on a screen on which only one thing has room beside nothing else.
export const narrow = signal(phone.matches);
phone.addEventListener("change", () => (narrow.value = phone.matches));
