"""Comparisons: two to four makes of one recipe, tasted blind and told apart.

The parts are those that `studyapp.registry` describes; whoever needs one asks there.
"""

from typing import TYPE_CHECKING

if TYPE_CHECKING:  # a type checker proves here that every part is whole; nothing is imported
    from studyapp import registry
    from studyapp.kinds.comparison import commands, deciding, findings, pages, plan, report, rule, setting_out

    _plan: registry.PlanPart = plan
    _rule: registry.RulePart = rule
    _setting_out: registry.SettingOutPart = setting_out
    _deciding: registry.DecidingPart = deciding
    _findings: registry.FindingsPart = findings
    _report: registry.ReportPart = report
    _commands: registry.CommandsPart = commands
    _pages: registry.PagesPart = pages
