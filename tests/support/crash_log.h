/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What faulty_vfs.c tells crash_log.c: every change of a lasting file, in order. */
#ifndef AN_TESTS_CRASH_LOG_H
#define AN_TESTS_CRASH_LOG_H

/* The file's number; its content up to now is read. -1 while nothing is recorded. */
int crash_log_open(const char *path);
void crash_log_write(int file, const void *at, int length, long long offset);
void crash_log_truncate(int file, long long size);
void crash_log_sync(int file);
void crash_log_delete(const char *path);

#endif
