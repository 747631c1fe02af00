/* store/schema.h - the statements of each step of the schema: schema.sql makes an empty
 * trial file, schema_2.sql and schema_3.sql each bring it to their number. Line by line, closed
 * by NULL; compiled in by meson. */
#ifndef QX_STORE_SCHEMA_H
#define QX_STORE_SCHEMA_H

extern const char *const qx_schema_1[];
extern const char *const qx_schema_2[];
extern const char *const qx_schema_3[];

#endif
