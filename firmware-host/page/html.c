/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <nettle/base64.h>
#include <nettle/sha2.h>
#include <string.h>

#include "embedded.h"
#include "page/internal.h"
#include "text/text.h"

void page_put(FILE *stream, const char *text) {
    UP_FREED char *clean = up_text_for_terminal(text);
    for (const char *at = clean; *at != '\0'; at++) {
        switch (*at) {
        case '&':
            fputs("&amp;", stream);
            break;
        case '<':
            fputs("&lt;", stream);
            break;
        case '>':
            fputs("&gt;", stream);
            break;
        case '"':
            fputs("&quot;", stream);
            break;
        case '\'':
            fputs("&#39;", stream);
            break;
        default:
            fputc(*at, stream);
        }
    }
}

void page_put_name(FILE *stream, const char *name) {
    fputs("<bdi>", stream);
    page_put(stream, name);
    fputs("</bdi>", stream);
}

/* 'sha256-...' of a text, as a content security policy names it (W3C CSP 3). */
static void put_hash(FILE *stream, const char *text) {
    struct sha256_ctx context;
    uint8_t digest[SHA256_DIGEST_SIZE];
    char base64[BASE64_ENCODE_RAW_LENGTH(SHA256_DIGEST_SIZE) + 1] = "";
    sha256_init(&context);
    sha256_update(&context, strlen(text), (const uint8_t *)text);
    sha256_digest(&context, sizeof digest, digest);
    base64_encode_raw(base64, sizeof digest, digest);
    fprintf(stream, "'sha256-%s'", base64);
}

void page_put_head(FILE *stream, const char *title, enum page_needs needs, const char *up) {
    fputs("<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
          "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; "
          "base-uri 'none'; form-action 'none'; style-src ",
          stream);
    put_hash(stream, embedded_page_css);
    if (needs != PAGE_PLAIN) {
        fputs("; script-src ", stream);
        put_hash(stream, embedded_page_js);
    }
    fputs(needs == PAGE_SCRIPT_AND_PICTURE ? "; img-src data:" : "", stream);
    fputs("\">\n<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
          "<meta name=\"referrer\" content=\"no-referrer\">\n<title>",
          stream);
    page_put(stream, title);
    fprintf(stream, "</title>\n<style>%s</style>\n</head>\n<body>\n", embedded_page_css);
    if (up != NULL) {
        fprintf(stream, "<nav class=\"tools\"><a href=\"%s\">All items</a></nav>\n", up);
    }
    fputs("<main>\n", stream);
}

void page_put_foot(FILE *stream, bool with_script) {
    fputs("</main>\n", stream);
    if (with_script) {
        fprintf(stream, "<script>%s</script>\n", embedded_page_js);
    }
    fputs("</body>\n</html>\n", stream);
}

static const char *const symbol_ids[] = {[UP_CARD_UNDECIDED] = "u",
                                         [UP_CARD_FLOATS] = "f",
                                         [UP_CARD_HOVERS] = "h",
                                         [UP_CARD_SINKS] = "s"};

void page_put_symbols(FILE *stream) {
    static const char *const item[] = {
        [UP_CARD_UNDECIDED] = "<rect x=\"6\" y=\"15\" width=\"20\" height=\"5\" rx=\"2.5\" "
                              "fill=\"none\" stroke=\"currentColor\" stroke-width=\"1.6\"/>"
                              "<path d=\"M13 12h6l-3-4zM13 23h6l-3 4z\" fill=\"currentColor\"/>",
        [UP_CARD_FLOATS] = "<rect x=\"6\" y=\"6\" width=\"20\" height=\"5\" rx=\"2.5\" "
                           "fill=\"currentColor\"/><path d=\"M15 27v-8h-3l4-5 4 5h-3v8z\" "
                           "fill=\"currentColor\"/>",
        [UP_CARD_HOVERS] = "<rect x=\"6\" y=\"16\" width=\"20\" height=\"5\" rx=\"2.5\" "
                           "fill=\"currentColor\"/>",
        [UP_CARD_SINKS] = "<rect x=\"6\" y=\"24\" width=\"20\" height=\"5\" rx=\"2.5\" "
                          "fill=\"currentColor\"/><path d=\"M15 11v6h-3l4 5 4-5h-3v-6z\" "
                          "fill=\"currentColor\"/>"};
    fputs("<svg width=\"0\" height=\"0\" aria-hidden=\"true\" focusable=\"false\">\n", stream);
    for (enum up_card_place place = UP_CARD_UNDECIDED; place <= UP_CARD_SINKS; place++) {
        fprintf(
            stream,
            "<symbol id=\"%s\" viewBox=\"0 0 32 32\"><path d=\"M0 9q4-3 8 0t8 0 8 0 8 0V31H0z\" "
            "fill=\"var(--water)\"/><path d=\"M0 9q4-3 8 0t8 0 8 0 8 0M0 31h32\" fill=\"none\" "
            "stroke=\"currentColor\" stroke-width=\"1.4\"/>%s</symbol>\n",
            symbol_ids[place], item[place]);
    }
    fputs("</svg>\n", stream);
}

void page_put_symbol(FILE *stream, enum up_card_place place) {
    fprintf(stream, "<svg><use href=#%s /></svg>", symbol_ids[place]);
}
