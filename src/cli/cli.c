#include "cli/cli.h"

#include <pwd.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/json_write.h"
#include "cli/output.h"
#include "cli/progress.h"
#include "cli/verb.h"

enum { EXIT_USAGE = 2, EXIT_MACHINE = 3 };

/* The name somebody is logged in with: who did it, unless --by says otherwise. Where the
 * environment tells none (scheduled work), the system's list of users does. */
static const char *logged_in(void)
{
    const struct passwd *user = getpwuid(getuid()); /* NOLINT(concurrency-mt-unsafe) */
    const char *const names[] = {
        getenv("LOGNAME"), getenv("USER"), user == NULL ? NULL : user->pw_name};
    for (size_t i = 0; i < QX_COUNT(names); i++) {
        if (names[i] != NULL && names[i][0] != '\0' &&
            qx_utf8_valid(names[i], strlen(names[i]), NULL)) {
            return names[i];
        }
    }
    return "unknown";
}

static int usage(const char *message)
{
    (void)fprintf(stderr, "quincunx: %s\nquincunx --help lists the verbs\n", message);
    return EXIT_USAGE;
}

static int unknown_verb(const char *name)
{
    const char *nearest = qx_verb_nearest(name);
    (void)fprintf(stderr, "quincunx: there is no verb \"%s\"", name);
    if (nearest != NULL) {
        (void)fprintf(stderr, "; the nearest is \"%s\"", nearest);
    }
    (void)fputs("\nquincunx --help lists the verbs\n", stderr);
    return EXIT_USAGE;
}

qx_status qx_call_answered(const qx_call *call)
{
    return qx_text_failed(call->answer)
               ? qx_fail(call->cx, QX_E_NOMEM, "no memory for the answer")
               : QX_OK;
}

qx_status qx_answer_files(qx_call *call, size_t count, const char *const path[])
{
    qx_json *json = qx_json_new(call->arena, call->answer);
    if (json == NULL) {
        return qx_fail(call->cx, QX_E_NOMEM, "no memory for the answer");
    }
    qx_json_open(json, NULL, '{');
    qx_json_whole(json, "quincunx", 1);
    qx_json_open(json, "files", '[');
    for (size_t i = 0; i < count; i++) {
        qx_json_text(json, NULL, path[i]);
    }
    qx_json_close(json, ']');
    qx_json_close(json, '}');
    return QX_OK;
}

/* Everything that a call has to say, in the order in which it helps. */
static int report(const qx_call *call, qx_status status)
{
    qx_print_notes(call->cx, call->problems);
    qx_problems_sort(call->problems);
    if (qx_problems_count(call->problems) > 0) {
        qx_print_problems(call->problems);
        status = status == QX_OK ? QX_E_INPUT : status;
    }
    if (status != QX_OK &&
        (qx_problems_count(call->problems) == 0 || qx_status_exit(status) != 1)) {
        qx_print_failure(call, status);
    }
    if (call->hint != NULL) {
        (void)fprintf(stderr, "note: %s\n", call->hint);
    }
    if (status == QX_E_USAGE) {
        (void)fprintf(stderr, "quincunx %s --help tells more\n", call->verb->name);
    }
    if (qx_text_length(call->answer) > 0 && !qx_text_failed(call->answer) &&
        !qx_print_answer(call->answer)) {
        return EXIT_MACHINE;
    }
    return qx_status_exit(status);
}

static int run(qx_call *call, int count, const char *const argument[])
{
    qx_status status = qx_call_parse(call, count, argument);
    if (status == QX_OK && qx_call_has(call, QX_FLAG_HELP)) {
        qx_verb_help(call->verb, call->answer);
    } else if (status == QX_OK) {
        qx_bar bar;
        qx_bar_begin(&bar, call->cx);
        status = call->verb->run(call);
        qx_bar_end(&bar, call->cx);
    }
    return report(call, status == QX_OK ? qx_call_answered(call) : status);
}

static int call_verb(const qx_verb *verb, int count, const char *const argument[])
{
    qx_ctx *cx = qx_ctx_new();
    qx_arena *arena = qx_arena_new();
    int result = EXIT_MACHINE;
    if (cx != NULL && arena != NULL) {
        qx_call call = {.cx = cx,
                        .arena = arena,
                        .verb = verb,
                        .problems = qx_problems_new(arena),
                        .answer = qx_text_new(arena),
                        .by = logged_in(),
                        .reason = ""};
        if (call.problems != NULL && call.answer != NULL) {
            result = run(&call, count, argument);
        }
    }
    if (cx == NULL || arena == NULL) {
        (void)fputs("quincunx: out of memory\n", stderr);
    }
    qx_arena_free(arena);
    qx_ctx_free(cx);
    return result;
}

/* --help and --version of the program itself. */
static int tell(void (*write)(qx_text *out))
{
    qx_arena *arena = qx_arena_new();
    qx_text *text = arena == NULL ? NULL : qx_text_new(arena);
    int result = EXIT_MACHINE;
    if (text != NULL) {
        write(text);
        result = qx_print_answer(text) ? 0 : EXIT_MACHINE;
    }
    qx_arena_free(arena);
    return result;
}

static void write_version(qx_text *out)
{
    qx_text_add(out, "quincunx " QX_VERSION "\n");
}

int qx_cli(int count, const char *const argument[])
{
    if (count < 2) {
        return usage("a verb is missing");
    }
    const char *first = argument[1];
    if (strcmp(first, "--help") == 0 || strcmp(first, "-h") == 0) {
        return tell(qx_verbs_help);
    }
    if (strcmp(first, "--version") == 0) {
        return tell(write_version);
    }
    if (first[0] == '-') {
        return usage("the verb comes first, its options after it");
    }
    const qx_verb *verb = qx_verb_find(first);
    return verb == NULL ? unknown_verb(first) : call_verb(verb, count - 2, argument + 2);
}
