/** Comma-separated values after RFC 4180: CRLF lines, quotes where needed; a leading =, +, - or @ in text is defused for spreadsheets. */
export function writeCsv(rows: readonly (readonly (string | number | null)[])[]): string {
  const cell = (v: string | number | null): string => {
    if (v === null) return '';
    if (typeof v === 'number') return Number.isFinite(v) ? String(v) : '';
    const text = /^[=+\-@\t\r]/.test(v) ? `'${v}` : v;
    return /[",\r\n]/.test(text) ? `"${text.replace(/"/g, '""')}"` : text;
  };
  return rows.map((r) => r.map(cell).join(',')).join('\r\n') + '\r\n';
}
