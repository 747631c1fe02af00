/* cli/output.h - what goes to the terminal: answers, problems, notes, failures. */
#ifndef QX_CLI_OUTPUT_H
#define QX_CLI_OUTPUT_H

#include <stdbool.h>
#include <stdio.h>

#include "cli/verb.h"

/* May this stream be coloured? A terminal, NO_COLOR unset or empty (no-color.org), and TERM
 * other than "dumb". */
bool qx_colour_wanted(FILE *stream);

/* All problems, one a line `file:line:column: wrong; expected`, to standard error. */
void qx_print_problems(const qx_problems *problems);

/* Notes of the context and of the problems, to standard error. */
void qx_print_notes(const qx_ctx *cx, const qx_problems *problems);

/* A failure that no problem tells, to standard error. Input that is wrong as a whole is
 * told as a problem of the first place of the file that its message names. */
void qx_print_failure(const qx_call *call, qx_status status);

/* The text to standard output, all of it; false with a message if that did not work. */
bool qx_print_answer(const qx_text *answer);

#endif
