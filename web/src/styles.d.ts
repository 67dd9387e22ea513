/** Style sheets are imported for their effect alone. */
declare module '*.css';
