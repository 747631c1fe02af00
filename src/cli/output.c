#include "cli/output.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define BOLD  "\033[1m"
#define PLAIN "\033[0m"

bool qx_colour_wanted(FILE *stream)
{
    const char *no = getenv("NO_COLOR");
    const char *term = getenv("TERM");
    return (no == NULL || no[0] == '\0') && term != NULL && strcmp(term, "dumb") != 0 &&
           isatty(fileno(stream)) == 1;
}

static void print_problem(const qx_problem *problem, bool colour)
{
    (void)fprintf(stderr,
                  "%s%s:%zu:%zu:%s %s; %s\n",
                  colour ? BOLD : "",
                  problem->file,
                  problem->at.line == 0 ? 1 : problem->at.line,
                  problem->at.column == 0 ? 1 : problem->at.column,
                  colour ? PLAIN : "",
                  problem->wrong,
                  problem->expected);
}

void qx_print_problems(const qx_problems *problems)
{
    const bool colour = qx_colour_wanted(stderr);
    const size_t stored = qx_problems_stored(problems);
    for (size_t i = 0; i < stored; i++) {
        print_problem(qx_problems_get(problems, i), colour);
    }
    if (qx_problems_count(problems) > stored) {
        (void)fprintf(stderr,
                      "quincunx: %zu more problems are not listed\n",
                      qx_problems_count(problems) - stored);
    }
}

void qx_print_notes(const qx_ctx *cx, const qx_problems *problems)
{
    for (size_t i = 0; i < qx_problems_notes(problems); i++) {
        const qx_problem *note = qx_problems_get_note(problems, i);
        if (note->at.line > 1) {
            (void)fprintf(stderr,
                          "note: %s (%s, line %zu)\n",
                          note->wrong,
                          note->file,
                          note->at.line);
        } else {
            (void)fprintf(stderr, "note: %s (%s)\n", note->wrong, note->file);
        }
    }
    for (size_t i = 0; i < qx_ctx_note_count(cx); i++) {
        (void)fprintf(stderr, "note: %s\n", qx_ctx_note(cx, i));
    }
}

/* Length of `path` if the message begins with it as a word of its own, else 0. */
static size_t begins_with(const char *message, const char *path)
{
    const size_t length = path == NULL ? 0 : strlen(path);
    const bool same = length > 0 && strncmp(message, path, length) == 0;
    return same && (message[length] == ' ' || message[length] == ':') ? length : 0;
}

void qx_print_failure(const qx_call *call, qx_status status)
{
    const char *message = qx_ctx_message(call->cx);
    message = message[0] == '\0' ? qx_status_text(status) : message;
    if (qx_status_exit(status) != 1) {
        (void)fprintf(stderr, "quincunx: %s\n", message);
        return;
    }
    const char *file = call->file_count > 0 ? call->file[0] : "quincunx";
    size_t skip = 0;
    for (size_t i = 0; i < call->file_count && skip == 0; i++) {
        skip = begins_with(message, call->file[i]);
        file = skip > 0 ? call->file[i] : file;
    }
    if (skip == 0) {
        skip = begins_with(message, call->out);
        file = skip > 0 ? call->out : file;
    }
    message += skip;
    message += strspn(message, ": ");
    (void)fprintf(stderr, "%s:1:1: %s\n", file, message);
}

bool qx_print_answer(const qx_text *answer)
{
    const size_t length = qx_text_length(answer);
    const bool written =
        fwrite(qx_text_get(answer), 1, length, stdout) == length && fflush(stdout) == 0;
    if (!written) {
        const int error = errno;
        (void)fprintf(stderr,
                      "quincunx: the result could not be written: %s\n",
                      strerror(error)); /* NOLINT(concurrency-mt-unsafe) */
    }
    return written;
}
