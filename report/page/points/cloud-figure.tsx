import { useEffect, useLayoutEffect, useMemo, useRef, useState } from 'preact/hooks';
import { Sheet } from '../plot/sheet.js';
import { useReader } from '../reader.js';
import { buildCloud, CLOUD_HEIGHT, type CloudOptions, type CloudView, ring } from './build-cloud.js';
import type { Cloud } from './cloud.js';

interface CloudFigureProps {
  cloud: Cloud;
  /** What a point says, by its row of the applications. */
  describe: (row: number) => string;
  caption?: string;
}

/** Points that can be read by pointer and by arrow keys, in the order of time. */
export function CloudFigure({ cloud, describe, caption }: CloudFigureProps) {
  const { clock, show, unitOf } = useReader();
  const box = useRef<HTMLDivElement>(null);
  const sheet = useRef<Sheet | null>(null);
  const view = useMemo<CloudView>(() => ({ x: null, y: null, point: null }), [cloud]);
  const [point, setPoint] = useState<number | null>(null);
  const [isZoomed, setZoomed] = useState(false);
  const options = useMemo<CloudOptions>(
    () => ({
      cloud,
      clock,
      show,
      view,
      onPoint: setPoint,
      onView: () => {
        setZoomed(view.x !== null);
        sheet.current?.redraw();
      },
    }),
    [cloud, clock, show, view],
  );

  useLayoutEffect(() => {
    const mine = new Sheet(box.current!, CLOUD_HEIGHT, 'half', (element, layout) =>
      buildCloud(element, layout, options),
    );
    sheet.current = mine;
    return () => mine.end();
  }, [options]);

  useEffect(() => {
    view.point = point;
    if (sheet.current?.plot) ring(sheet.current.plot, options);
  }, [point, options, view]);

  const read = point === null ? null : describe(cloud.points[point]!.row);
  return (
    <figure class="plot cloud">
      <figcaption>
        <b>{cloud.title}</b> {caption}
        <span class="read" data-read={read === null ? 'no' : 'yes'}>
          {read}
        </span>
        {isZoomed && (
          <button
            type="button"
            class="small no-print"
            onClick={() => {
              view.x = view.y = null;
              options.onView();
            }}
          >
            Whole
          </button>
        )}
      </figcaption>
      <p class="axis-names" aria-hidden="true">
        <span>
          {cloud.y.label}, {unitOf(cloud.y.unit)}
        </span>
        <span>
          {cloud.x.label}
          {cloud.x.unit === 'kPa' && `, ${unitOf('kPa')}`}
        </span>
      </p>
      <div
        class="sheet"
        ref={box}
        style={{ height: `${CLOUD_HEIGHT}px` }}
        role="slider"
        tabIndex={0}
        aria-label={`${cloud.title}: ${cloud.y.label} against ${cloud.x.label}, ${cloud.points.length} applications; arrow keys read them`}
        aria-valuemin={0}
        aria-valuemax={Math.max(1, cloud.points.length)}
        aria-valuenow={(point ?? -1) + 1}
        aria-valuetext={read ?? 'no application chosen'}
        onKeyDown={(event) => {
          const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
          if (step === undefined || cloud.points.length === 0) return;
          event.preventDefault();
          setPoint(Math.max(0, Math.min(cloud.points.length - 1, point === null ? 0 : point + step)));
        }}
      />
    </figure>
  );
}
