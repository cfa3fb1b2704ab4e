"""Names of the background tasks, so that a lower part can ask for work that a higher part does."""

WORK_OFF_MARKS = "season.work_off_marks"
TAKE_IMPORTS_IN = "imports.take_in"
RUN_AUDITS = "settlement.run_audits"
TRY_HELD = "api.try_held"
FORGET_OLD_ANSWERS = "season.forget_old_answers"
