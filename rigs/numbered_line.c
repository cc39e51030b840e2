/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "numbered_line.h"

static char *put_whole(char *at, uint32_t value) {
    char digits[10];
    int count = 0;
    do {
        digits[count++] = (char)('0' + value % 10);
        value /= 10;
    } while (value > 0);
    while (count > 0) {
        *at++ = digits[--count];
    }
    return at;
}

static char *put_sign(char *at, int32_t value, uint32_t *magnitude) {
    *magnitude = value < 0 ? 0u - (uint32_t)value : (uint32_t)value;
    if (value < 0) {
        *at++ = '-';
    }
    return at;
}

/* CRC-16, polynomial 0x1021, start 0xFFFF, neither reflected nor inverted: 0x29B1 for 123456789. */
static uint16_t crc16(const char *from, const char *to) {
    uint16_t crc = 0xFFFF;
    for (; from < to; from++) {
        crc = (uint16_t)(crc ^ (uint16_t)((uint16_t)(unsigned char)*from << 8));
        for (int bit = 0; bit < 8; bit++) {
            crc = (uint16_t)((crc & 0x8000) != 0 ? (crc << 1) ^ 0x1021 : crc << 1);
        }
    }
    return crc;
}

size_t numbered_line(char *line, uint16_t sequence, uint32_t time_ms, int32_t counts,
                     int16_t temp_centi_c) {
    static const char hex[] = "0123456789ABCDEF";
    uint32_t magnitude;
    char *at = put_whole(line, sequence);
    *at++ = ',';
    at = put_whole(at, time_ms);
    *at++ = ',';
    at = put_sign(at, counts, &magnitude);
    at = put_whole(at, magnitude);
    *at++ = ',';
    at = put_sign(at, temp_centi_c, &magnitude);
    at = put_whole(at, magnitude / 100);
    *at++ = '.';
    *at++ = (char)('0' + magnitude / 10 % 10);
    *at++ = (char)('0' + magnitude % 10);
    uint16_t crc = crc16(line, at);
    *at++ = '*';
    for (int shift = 12; shift >= 0; shift -= 4) {
        *at++ = hex[(crc >> shift) & 15];
    }
    *at++ = '\r';
    *at++ = '\n';
    *at = '\0';
    return (size_t)(at - line);
}
