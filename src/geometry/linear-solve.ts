/**
 * Small dense linear algebra for fits of up to a few dozen unknowns: Cholesky, Gaussian elimination, and the symmetric
 * eigenproblem by cyclic Jacobi rotations (Golub & Van Loan, *Matrix Computations*, 4th ed., algorithms 4.2.1, 3.4.1,
 * 8.5.3). Matrices are row-major Float64Array of n × n.
 */

/**
 * Solves A x = b for a symmetric positive definite A (n × n). Returns null where A is not positive definite.
 * `a` and `b` are left as they are.
 */
export function solveCholesky(a: Float64Array, b: Float64Array, n: number): Float64Array | null {
  const l = choleskyFactor(a, n);
  return l === null ? null : solveWithFactor(l, b, n);
}

/** Lower factor L with A = L Lᵀ, or null where A is not positive definite. */
export function choleskyFactor(a: Float64Array, n: number): Float64Array | null {
  const l = new Float64Array(n * n);
  for (let j = 0; j < n; j++) {
    let d = a[j * n + j]!;
    const dj = d;
    for (let k = 0; k < j; k++) d -= l[j * n + k]! * l[j * n + k]!;
    if (!(d > 1e-14 * Math.abs(dj)) || !(d > 0)) return null;
    const r = Math.sqrt(d);
    l[j * n + j] = r;
    for (let i = j + 1; i < n; i++) {
      let s = a[i * n + j]!;
      for (let k = 0; k < j; k++) s -= l[i * n + k]! * l[j * n + k]!;
      l[i * n + j] = s / r;
    }
  }
  return l;
}

/** Solves L Lᵀ x = b. */
export function solveWithFactor(l: Float64Array, b: Float64Array, n: number): Float64Array {
  const x = Float64Array.from(b.subarray(0, n));
  for (let i = 0; i < n; i++) {
    let s = x[i]!;
    for (let k = 0; k < i; k++) s -= l[i * n + k]! * x[k]!;
    x[i] = s / l[i * n + i]!;
  }
  for (let i = n - 1; i >= 0; i--) {
    let s = x[i]!;
    for (let k = i + 1; k < n; k++) s -= l[k * n + i]! * x[k]!;
    x[i] = s / l[i * n + i]!;
  }
  return x;
}

/** Inverse of a symmetric positive definite matrix, or null. */
export function invertSymmetric(a: Float64Array, n: number): Float64Array | null {
  const l = choleskyFactor(a, n);
  if (l === null) return null;
  const out = new Float64Array(n * n);
  const e = new Float64Array(n);
  for (let j = 0; j < n; j++) {
    e.fill(0);
    e[j] = 1;
    const x = solveWithFactor(l, e, n);
    for (let i = 0; i < n; i++) out[i * n + j] = x[i]!;
  }
  return out;
}

/** Solves a general square system by elimination with partial pivoting; null where it is singular. */
export function solveGeneral(a: Float64Array, b: Float64Array, n: number): Float64Array | null {
  const m = Float64Array.from(a.subarray(0, n * n));
  const x = Float64Array.from(b.subarray(0, n));
  for (let c = 0; c < n; c++) {
    let p = c;
    for (let r = c + 1; r < n; r++) if (Math.abs(m[r * n + c]!) > Math.abs(m[p * n + c]!)) p = r;
    const pivot = m[p * n + c]!;
    if (!(Math.abs(pivot) > 1e-300)) return null;
    if (p !== c) {
      for (let k = c; k < n; k++) {
        const t = m[c * n + k]!;
        m[c * n + k] = m[p * n + k]!;
        m[p * n + k] = t;
      }
      const t = x[c]!;
      x[c] = x[p]!;
      x[p] = t;
    }
    for (let r = c + 1; r < n; r++) {
      const f = m[r * n + c]! / pivot;
      if (f === 0) continue;
      for (let k = c; k < n; k++) m[r * n + k] = m[r * n + k]! - f * m[c * n + k]!;
      x[r] = x[r]! - f * x[c]!;
    }
  }
  for (let i = n - 1; i >= 0; i--) {
    let s = x[i]!;
    for (let k = i + 1; k < n; k++) s -= m[i * n + k]! * x[k]!;
    x[i] = s / m[i * n + i]!;
    if (!Number.isFinite(x[i]!)) return null;
  }
  return x;
}

/**
 * Eigenvalues (ascending) and eigenvectors (column j of `vectors`, row-major n × n) of a symmetric matrix.
 * Cyclic Jacobi; meant for n up to about 30.
 */
export function symmetricEigen(a: Float64Array, n: number): { values: Float64Array; vectors: Float64Array } {
  const m = Float64Array.from(a.subarray(0, n * n));
  const v = new Float64Array(n * n);
  for (let i = 0; i < n; i++) v[i * n + i] = 1;
  for (let sweep = 0; sweep < 60; sweep++) {
    let off = 0;
    let diag = 0;
    for (let i = 0; i < n; i++)
      for (let j = 0; j < n; j++) {
        const q = m[i * n + j]! * m[i * n + j]!;
        if (i === j) diag += q;
        else off += q;
      }
    if (off <= 1e-30 * diag || off === 0) break;
    for (let p = 0; p < n - 1; p++)
      for (let q = p + 1; q < n; q++) {
        const apq = m[p * n + q]!;
        if (apq === 0) continue;
        const theta = (m[q * n + q]! - m[p * n + p]!) / (2 * apq);
        const t = Math.sign(theta || 1) / (Math.abs(theta) + Math.sqrt(theta * theta + 1));
        const c = 1 / Math.sqrt(t * t + 1);
        const s = t * c;
        for (let k = 0; k < n; k++) {
          const kp = m[k * n + p]!;
          const kq = m[k * n + q]!;
          m[k * n + p] = c * kp - s * kq;
          m[k * n + q] = s * kp + c * kq;
        }
        for (let k = 0; k < n; k++) {
          const pk = m[p * n + k]!;
          const qk = m[q * n + k]!;
          m[p * n + k] = c * pk - s * qk;
          m[q * n + k] = s * pk + c * qk;
        }
        for (let k = 0; k < n; k++) {
          const kp = v[k * n + p]!;
          const kq = v[k * n + q]!;
          v[k * n + p] = c * kp - s * kq;
          v[k * n + q] = s * kp + c * kq;
        }
      }
  }
  const order = Array.from({ length: n }, (_, i) => i).sort((i, j) => m[i * n + i]! - m[j * n + j]!);
  const values = new Float64Array(n);
  const vectors = new Float64Array(n * n);
  order.forEach((src, dst) => {
    values[dst] = m[src * n + src]!;
    for (let k = 0; k < n; k++) vectors[k * n + dst] = v[k * n + src]!;
  });
  return { values, vectors };
}
