package engine

// What moved, by its old name.
import (
	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/engine/fleet"
	"telltale/engine/history"
	"telltale/engine/judge"
	"telltale/engine/latch"
	"telltale/engine/record"
	"telltale/engine/sample"
	"telltale/engine/why"
)

type Alarm = alarm.Alarm
type AlarmKey = alarm.Key
type AnswerData = event.AnswerData

const AnswerEvent = event.AnswerEvent

type BaselineData = fleet.BaselineData

const BaselineEvent = event.BaselineEvent

type BeforeAndNow = sample.BeforeAndNow
type BookData = event.BookData

const BookEvent = event.BookEvent

type Change = record.Change
type ComponentDef = event.ComponentDef

const Conflict = event.Conflict

type DueItem = due.Item
type DuePoint = alarm.DuePoint
type DueQuery = due.Query
type Event = event.Event

var ExtendHistory = history.Extend

const Fault = event.Fault

type Figures = event.Figures
type FleetAnalyte = fleet.Analyte
type FleetBaseline = fleet.Baseline

var FleetBaselines = fleet.Make

type FleetFigure = fleet.Figure
type FleetFigures = fleet.Figures
type FleetGroup = fleet.Group
type FleetListing = fleet.Listing
type FleetOutlier = fleet.Outlier
type FleetSet = fleet.Set
type FluidData = event.FluidData

const Forged = event.Forged

type HistoryEntry = history.Entry
type HistoryStands = history.Stands
type HistoryVerdict = history.Verdict
type ID = event.ID

const InTheFuture = event.InTheFuture

type IntervalOffer = sample.IntervalOffer
type Kind = event.Kind

var KindOf = event.KindOf

type Latch = latch.Latch

const Malformed = event.Malformed

type MeterDef = event.MeterDef
type MeterLog = record.MeterLog
type MeterReplacedData = event.MeterReplacedData

const MeterReplacedEvent = event.MeterReplacedEvent

type Need = due.Need
type NotJudged = alarm.NotJudged
type Opening = latch.Opening
type Past = history.Past
type Postponed = record.Postponed
type PulledIn = alarm.PulledIn
type Reading = record.Reading
type ReadingData = event.ReadingData

const ReadingEvent = event.ReadingEvent

type Reason = sample.Reason
type ReckonedLimit = due.ReckonedLimit
type ReckonedMeter = due.ReckonedMeter
type Reckoning = due.Reckoning
type Record = record.Record
type Refusal = alarm.Refusal
type RefusalClass = event.RefusalClass

var Refuse = event.Refuse
var RefuseAs = event.RefuseAs

type Refused = event.Refused
type Registration = record.Registration
type Replaced = record.Replaced
type ResultData = event.ResultData
type Sample = record.Sample
type SampleData = event.SampleData

const SampleEvent = event.SampleEvent

type Service = record.Service
type ServiceData = event.ServiceData

const ServiceEvent = event.ServiceEvent

var SortDue = due.SortDue

type Stamp = record.Stamp
type Standing = alarm.Listed
type SurveyData = fleet.SurveyData

const SurveyEvent = event.SurveyEvent

type SurveyPart = fleet.SurveyPart
type SurveyResult = fleet.SurveyResult
type SurveySample = fleet.SurveySample

var TaskStages = alarm.TaskStages

const TickEvent = event.TickEvent

type Transition = alarm.Transition
type TurnData = event.TurnData

const TurnEvent = event.TurnEvent

type UnjudgedRule = sample.UnjudgedRule
type VehicleData = event.VehicleData

const VehicleEvent = event.VehicleEvent

type Verdict = sample.Verdict
type VerdictBaseline = sample.Baseline
type VerdictDrains = sample.Drains
type VerdictForecast = sample.Forecast
type VerdictGrade = sample.Grade
type VerdictHistory = sample.History
type VerdictMade = sample.Made
type VerdictPoint = sample.Point
type VerdictRate = sample.Rate
type VerdictResult = sample.Result
type VerdictSeries = sample.Series
type VerdictUsual = sample.Usual
type VerdictWork = sample.Work
type VoidData = event.VoidData

const VoidEvent = event.VoidEvent

type Voiding = record.Voiding

const WhatAlarm = history.WhatAlarm
const WhatAnswer = history.WhatAnswer
const WhatReading = history.WhatReading
const WhatReplaced = history.WhatReplaced
const WhatSample = history.WhatSample
const WhatVehicle = history.WhatVehicle
const WhatWork = history.WhatWork

type Why = why.Why
type WhyBaseline = why.Baseline
type WhyEvent = judge.Event
type WhyJudged = why.Judged
type WhyLimit = why.Limit
type WhyMissing = why.Missing
