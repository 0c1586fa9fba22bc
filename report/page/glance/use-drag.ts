import { useRef, useState } from 'preact/hooks';

const LEAST_PIXELS = 6;

export interface Drag {
  /** Instants between which the reader is dragging now. */
  dragged: [number, number] | null;
  handlers: {
    onPointerDown: (event: PointerEvent) => void;
    onPointerMove: (event: PointerEvent) => void;
    onPointerUp: (event: PointerEvent) => void;
    onPointerLeave: () => void;
    onPointerCancel: () => void;
    onClickCapture: (event: MouseEvent) => void;
  };
}

interface DragOptions {
  /** Where the time axis lies, CSS pixels of the window. */
  axis: () => DOMRect | null;
  seen: [number, number];
  onPoint: (s: number | null) => void;
  onZoom: (fromS: number, toS: number) => void;
}

/** Reads an instant where the pointer is, and zooms to where it is dragged; a click stays a click. */
export function useDrag({ axis, seen, onPoint, onZoom }: DragOptions): Drag {
  const [dragged, setDragged] = useState<[number, number] | null>(null);
  const from = useRef<{ x: number; isFar: boolean } | null>(null);
  const wasDrag = useRef(false);

  const instantAt = (x: number): number | null => {
    const box = axis();
    if (box === null || box.width === 0) return null;
    return seen[0] + ((x - box.left) / box.width) * (seen[1] - seen[0]);
  };
  const inside = (s: number | null): number | null => (s === null || s < seen[0] || s > seen[1] ? null : s);
  const end = (): void => {
    from.current = null;
    setDragged(null);
  };

  return {
    dragged,
    handlers: {
      onPointerDown: (event) => {
        wasDrag.current = false;
        if (event.button === 0 && inside(instantAt(event.clientX)) !== null)
          from.current = { x: event.clientX, isFar: false };
      },
      onPointerMove: (event) => {
        onPoint(inside(instantAt(event.clientX)));
        const start = from.current;
        if (start === null) return;
        if (event.pointerType === 'mouse' && event.buttons === 0) return end();
        start.isFar ||= Math.abs(event.clientX - start.x) >= LEAST_PIXELS;
        const [a, b] = [instantAt(start.x), instantAt(event.clientX)];
        if (start.isFar && a !== null && b !== null) setDragged(a < b ? [a, b] : [b, a]);
      },
      onPointerUp: (event) => {
        const [a, b] = [from.current === null ? null : instantAt(from.current.x), instantAt(event.clientX)];
        wasDrag.current = from.current?.isFar === true;
        end();
        if (wasDrag.current && a !== null && b !== null) onZoom(Math.min(a, b), Math.max(a, b));
      },
      onPointerLeave: () => {
        onPoint(null);
      },
      onPointerCancel: end,
      onClickCapture: (event) => {
        if (!wasDrag.current) return;
        wasDrag.current = false;
        event.preventDefault();
        event.stopPropagation();
      },
    },
  };
}
