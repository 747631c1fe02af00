/* base/machine.h - the machine's reason for a failure, in words. */
#ifndef QX_BASE_MACHINE_H
#define QX_BASE_MACHINE_H

#define QX_REASON_ROOM 128

/* Text of an errno value, safe with threads. Returns `out`. */
const char *qx_reason(int error, char out[QX_REASON_ROOM]);

#endif
