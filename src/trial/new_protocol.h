/* trial/new_protocol.h - the commented protocol that a new trial begins with.
 *
 * It reads without a problem as it stands, so that every change can be checked by itself;
 * parts that a trial may not need are there as comments. */
#ifndef QX_TRIAL_NEW_PROTOCOL_H
#define QX_TRIAL_NEW_PROTOCOL_H

const char *qx_new_protocol_text(void);

#endif
