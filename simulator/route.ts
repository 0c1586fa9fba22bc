const KM_PER_DEGREE = 111.195;
const RADIANS = Math.PI / 180;

/** Cosine by its series, the same on every engine; enough to six digits up to 70°. */
function cosine(degrees: number): number {
  const x2 = (degrees * RADIANS) ** 2;
  return 1 - (x2 / 2) * (1 - (x2 / 12) * (1 - (x2 / 30) * (1 - x2 / 56)));
}

/** A road of straight pieces. */
export class Route {
  private readonly corners: readonly (readonly [number, number])[];
  private readonly lengths: number[];

  constructor(corners: readonly (readonly [number, number])[]) {
    this.corners = corners;
    this.lengths = corners.slice(1).map(([lat, lon], i) => {
      const [lat0, lon0] = corners[i]!;
      const north = (lat - lat0) * KM_PER_DEGREE;
      const east = (lon - lon0) * KM_PER_DEGREE * cosine((lat + lat0) / 2);
      return Math.sqrt(north * north + east * east) * 1000;
    });
  }

  get lengthM(): number {
    return this.lengths.reduce((sum, length) => sum + length, 0);
  }

  /** [latitude, longitude] after so many meters; the last corner from the end on. */
  at(meters: number): [number, number] {
    for (const [i, length] of this.lengths.entries()) {
      if (meters < length) {
        const [lat0, lon0] = this.corners[i]!;
        const [lat1, lon1] = this.corners[i + 1]!;
        const part = meters / length;
        return [lat0 + (lat1 - lat0) * part, lon0 + (lon1 - lon0) * part];
      }
      meters -= length;
    }
    const [lat, lon] = this.corners.at(-1)!;
    return [lat, lon];
  }
}
