#include "report/palette.h"

#include <string.h>

#define INKS (QX_INK_DATA + QX_DATA_INKS)

static const char *const names[INKS] = {"none",
                                        "main",
                                        "soft",
                                        "rule",
                                        "accent",
                                        "band",
                                        "paper",
                                        "d1",
                                        "d2",
                                        "d3",
                                        "d4",
                                        "d5",
                                        "d6",
                                        "d7",
                                        "d8"};

static const char *const colour[3][INKS] = {{"none",
                                             "#1c2b26",
                                             "#53635d",
                                             "#d5dcd7",
                                             "#a33a1f",
                                             "#e6ebdd",
                                             "#fdfdfa",
                                             "#1f5a8c",
                                             "#c2660a",
                                             "#3f8a66",
                                             "#6d3f78",
                                             "#8c7a16",
                                             "#3b8fb3",
                                             "#8a2f2f",
                                             "#6a736f"},
                                            {"none",
                                             "#e8eee9",
                                             "#a9b8b0",
                                             "#37453f",
                                             "#f09a78",
                                             "#2b3a31",
                                             "#141c19",
                                             "#7db6e6",
                                             "#f2a65a",
                                             "#74c69d",
                                             "#cf9fd8",
                                             "#d6c35c",
                                             "#8fd3ea",
                                             "#ea8f86",
                                             "#b4bdb8"},
                                            {"none",
                                             "#000000",
                                             "#333333",
                                             "#bbbbbb",
                                             "#000000",
                                             "#e9e9e9",
                                             "#ffffff",
                                             "#1f5a8c",
                                             "#c2660a",
                                             "#3f8a66",
                                             "#6d3f78",
                                             "#8c7a16",
                                             "#3b8fb3",
                                             "#8a2f2f",
                                             "#6a736f"}};

const char *qx_ink_name(qx_ink ink)
{
    return (unsigned)ink < INKS ? names[ink] : names[0];
}

qx_ink qx_ink_of_level(size_t k)
{
    return (qx_ink)(QX_INK_DATA + k % QX_DATA_INKS);
}

void qx_palette_css(qx_text *out, int page)
{
    for (size_t i = 1; i < INKS; i++) {
        qx_text_printf(out, "--qx-%s:%s;", names[i], colour[page][i]);
    }
}

void qx_palette_classes(qx_text *out)
{
    qx_text_add(out, ".f-none{fill:none}.s-none{stroke:none}");
    for (size_t i = 1; i < INKS; i++) {
        qx_text_printf(out,
                       ".f-%s{fill:var(--qx-%s)}.s-%s{stroke:var(--qx-%s)}",
                       names[i],
                       names[i],
                       names[i],
                       names[i]);
    }
}

double qx_text_width(const char *text, double size)
{
    /* Figures of the widest usual sans-serif are 0.64 em, its letters less on the average;
     * the minus sign is 0.84 em. */
    const double minus = strncmp(text, "\xe2\x88\x92", 3) == 0 ? 0.2 : 0.0;
    return size * (0.64 * (double)qx_utf8_length(text) + minus);
}
