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
