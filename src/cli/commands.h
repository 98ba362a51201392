/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The commands, one file each. */
#ifndef AN_CLI_COMMANDS_H
#define AN_CLI_COMMANDS_H

#include "cli/cli.h"

extern const struct an_command an_command_demo;
extern const struct an_command an_command_init;
extern const struct an_command an_command_probe;
extern const struct an_command an_command_collect;
extern const struct an_command an_command_held;
extern const struct an_command an_command_held_explain;
extern const struct an_command an_command_held_release;
extern const struct an_command an_command_held_acts;
extern const struct an_command an_command_held_missing;
extern const struct an_command an_command_streams;
extern const struct an_command an_command_limits_propose;
extern const struct an_command an_command_limits_lock;
extern const struct an_command an_command_limits_show;
extern const struct an_command an_command_limits_design;
extern const struct an_command an_command_check;
extern const struct an_command an_command_signals;
extern const struct an_command an_command_answer;
extern const struct an_command an_command_capability;
extern const struct an_command an_command_components;
extern const struct an_command an_command_gauge_study;
extern const struct an_command an_command_gauge_list;
extern const struct an_command an_command_gauge_report;
extern const struct an_command an_command_report_shift;
extern const struct an_command an_command_report_week;
extern const struct an_command an_command_report_wall;
extern const struct an_command an_command_report_batch;
extern const struct an_command an_command_report_tile;
extern const struct an_command an_command_correct_serial;
extern const struct an_command an_command_correct_parent;
extern const struct an_command an_command_correct_unit;
extern const struct an_command an_command_correct_withdraw;
extern const struct an_command an_command_correct_undo;
extern const struct an_command an_command_correct_list;
extern const struct an_command an_command_export;
extern const struct an_command an_command_export_evidence;
extern const struct an_command an_command_trace;
extern const struct an_command an_command_verify;
extern const struct an_command an_command_head;
extern const struct an_command an_command_head_sign;
extern const struct an_command an_command_head_check;
extern const struct an_command an_command_head_prove;
extern const struct an_command an_command_head_since;
extern const struct an_command an_command_head_record;
extern const struct an_command an_command_head_list;
extern const struct an_command an_command_key_new;
extern const struct an_command an_command_key_add;
extern const struct an_command an_command_key_retire;
extern const struct an_command an_command_key_list;
extern const struct an_command an_command_retain;

#endif
