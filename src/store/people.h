/* store/people.h - who did what: a person's number in the trial file.
 *
 * Inner header of the folder. */
#ifndef QX_STORE_PEOPLE_H
#define QX_STORE_PEOPLE_H

#include "store/db.h"

/* The number of the person called `name`, made if new. Inside a transaction. */
qx_status qx_person_of(qx_ctx *cx, qx_db *db, const char *name, int64_t *out);

#endif
