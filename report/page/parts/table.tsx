import type { ComponentChildren } from 'preact';
import { useLayoutEffect, useRef, useState } from 'preact/hooks';

export interface Column<T> {
  head: string;
  cell: (row: T, i: number) => ComponentChildren;
  /** Names the row. */
  isHead?: boolean;
  isNumber?: boolean;
  /** Sentences: never squeezed into a narrow column. */
  isText?: boolean;
}

interface TableProps<T> {
  /** What is in it; for those who cannot see what it stands below. */
  name: string;
  columns: Column<T>[];
  rows: readonly T[];
  /** On a narrow screen each row is a paragraph, its cells below each other with their heads: for tables of sentences. */
  stacks?: boolean;
}

export function Table<T>({ name, columns, rows, stacks = false }: TableProps<T>) {
  return (
    <Scrolls name={name}>
      <table class={stacks ? 'stacks' : ''}>
        <thead>
          <tr>
            {columns.map(({ head, isNumber }) => (
              <th scope="col" key={head} class={isNumber ? 'number' : ''}>
                {head}
              </th>
            ))}
          </tr>
        </thead>
        <tbody>
          {rows.map((row, i) => (
            <tr key={i}>
              {columns.map(({ head, cell, isHead, isNumber, isText }) =>
                isHead ? (
                  <th scope="row" key={head}>
                    {cell(row, i)}
                  </th>
                ) : (
                  <td
                    key={head}
                    class={isNumber ? 'number' : isText ? 'text' : ''}
                    {...(stacks && { 'data-head': head })}
                  >
                    {cell(row, i)}
                  </td>
                ),
              )}
            </tr>
          ))}
        </tbody>
      </table>
    </Scrolls>
  );
}

/** Scrolls sideways by itself where there is no room; only then the keyboard stops at it. */
export function Scrolls({ name, children }: { name: string; children: ComponentChildren }) {
  const box = useRef<HTMLDivElement>(null);
  const [isWide, setWide] = useState(false);
  useLayoutEffect(() => {
    const element = box.current!;
    const seen = new ResizeObserver(() =>
      setWide(element.scrollWidth > element.clientWidth || element.scrollHeight > element.clientHeight),
    );
    seen.observe(element);
    return () => seen.disconnect();
  }, []);
  return (
    <div class="scrolls" ref={box} {...(isWide && { tabIndex: 0, role: 'region', 'aria-label': `${name}, table` })}>
      {children}
    </div>
  );
}

interface RawProps {
  summary: string;
  /** What of, for those who cannot see what it stands below. */
  name: string;
  /** Called when somebody opens it. */
  make: () => ComponentChildren;
}

/** What few will want: made when somebody opens it, and not printed. */
export function Raw({ summary, name, make }: RawProps) {
  const [isOpen, setOpen] = useState(false);
  return (
    <details class="values" onToggle={(event) => setOpen(event.currentTarget.open)}>
      <summary>
        {summary}
        <span class="hidden">: {name}</span>
      </summary>
      {isOpen && make()}
    </details>
  );
}
