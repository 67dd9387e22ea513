/**
 * Comma-separated values after RFC 4180: CRLF lines, as many fields in each (rule 4), quotes where needed; a leading
 * =, +, - or @ in text is defused for spreadsheets.
 */
export function writeCsv(rows: readonly (readonly (string | number | null)[])[]): string {
  const cell = (v: string | number | null): string => {
    if (v === null) return '';
    if (typeof v === 'number') return Number.isFinite(v) ? String(v) : '';
    const text = /^[=+\-@\t\r]/.test(v) ? `'${v}` : v;
    return /[",\r\n]/.test(text) ? `"${text.replace(/"/g, '""')}"` : text;
  };
  const width = rows.reduce((w, r) => Math.max(w, r.length), 0);
  return rows.map((r) => Array.from({ length: width }, (_, i) => cell(r[i] ?? null)).join(',')).join('\r\n') + '\r\n';
}
