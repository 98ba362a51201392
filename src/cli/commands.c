/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The list of commands, in the order in which a person meets them. */
#include "cli/commands.h"

const struct an_command *const an_commands[] = {
    &an_command_demo,           &an_command_init,
    &an_command_probe,          &an_command_collect,
    &an_command_held,           &an_command_held_explain,
    &an_command_held_release,   &an_command_held_acts,
    &an_command_held_missing,   &an_command_streams,
    &an_command_limits_propose, &an_command_limits_lock,
    &an_command_limits_show,    &an_command_limits_design,
    &an_command_check,          &an_command_signals,
    &an_command_answer,         &an_command_capability,
    &an_command_components,     &an_command_gauge_study,
    &an_command_gauge_list,     &an_command_gauge_report,
    &an_command_report_shift,   &an_command_report_week,
    &an_command_report_wall,    &an_command_report_batch,
    &an_command_report_tile,    &an_command_trace,
    &an_command_correct_serial, &an_command_correct_parent,
    &an_command_correct_unit,   &an_command_correct_withdraw,
    &an_command_correct_undo,   &an_command_correct_list,
    &an_command_export,         &an_command_export_evidence,
    &an_command_verify,         &an_command_head,
    &an_command_head_sign,      &an_command_head_check,
    &an_command_head_prove,     &an_command_head_since,
    &an_command_head_record,    &an_command_head_list,
    &an_command_key_new,        &an_command_key_add,
    &an_command_key_retire,     &an_command_key_list,
    &an_command_retain,         NULL,
};
