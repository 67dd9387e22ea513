/** Tuples that keep their length when they are made or mapped: colours, points, vectors, matrices. */

/** A value for each of three: the channels of a colour, the axes of a vector. */
export function three<R>(of: (i: 0 | 1 | 2) => R): [R, R, R] {
  return [of(0), of(1), of(2)];
}

/** What `of` makes of each value: as many as there were. */
export function mapTuple<T extends readonly unknown[], R>(
  values: T,
  of: (value: T[number], i: number) => R,
): { -readonly [K in keyof T]: R } {
  return values.map(of) as { -readonly [K in keyof T]: R };
}
